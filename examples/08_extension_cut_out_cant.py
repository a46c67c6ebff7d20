"""Luff below the pivot, a cut head, more cant: what do they buy together, and which of them decides?

A small study of the foiling demo boat: 16 rigs on a reach from 6 to 24 kn, each solved at its best. Prints
the best rig, what each factor does to the gain by itself and with the others, and what it is worth in each
wind. `vpp sweep configs/studies/extension_study.toml` is the same with more rigs, both beats, and figures.
"""

from pathlib import Path
from tempfile import TemporaryDirectory

import vpp

BOAT = Path(__file__).parent.parent / "configs" / "foiling_monohull.toml"
STUDY = f"""
schema_version = 1
name = "Extension, head cut-out and cant"
boat = "{BOAT.resolve().as_posix()}"
option = "low_and_cut"
compare_with = "base"
[plan]
kind = "latin_hypercube"
rigs = 16
[[factor]]
name = "extension_m"
key = "sail.main.foot_extension_m"
least = 0.0
greatest = 0.5
[[factor]]
name = "cut_chord_percent"
key = "sail.main.head_cut_chord_percent"
least = 45.0
greatest = 100.0
[[factor]]
name = "greatest_cant_deg"
key = "foil.foil.cant_max_deg"
least = 52.0
greatest = 60.0
[conditions]
tws_kn = [6.0, 12.0, 18.0, 24.0]
twa_deg = [100.0]
"""


def main() -> None:
    """Solve the study and print what it says."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "study.toml"
        path.write_text(STUDY, encoding="utf-8")
        found = vpp.sweep(path, out=Path(folder) / "sweep")
    print("\n".join(found.in_words()))
    worth = found.conditions_frame().filter(regex="tws|gain|best_[^rk]|worth")
    print(worth.round(2).to_string(index=False))


if __name__ == "__main__":
    main()

"""Is half a metre of taller rig worth having upwind at 8, 14 and 20 kn?

Compares the demo keelboat with its `taller_rig` option at the best VMG upwind, and shows where the answer
comes from: the heeling moment that the boat can hold is spent on side force at a height.
"""

from pathlib import Path

import vpp

BOAT = Path(__file__).parent.parent / "configs" / "keelboat.toml"


def main() -> None:
    """Print the gain and the balance behind it."""
    comparison = vpp.compare(vpp.load(BOAT), tws_kn=(8, 14, 20), twa_deg=(40,), options=("taller_rig",))
    table = comparison.polar.to_frame()
    upwind = table[table["aim"] == "upwind"].set_index(["tws_kn", "option"])
    shown = [
        "vmg_kn",
        "boat_speed_kn",
        "twa_deg",
        "heel_deg",
        "ce_height_m",
        "drive_n",
        "side_force_n",
        "main_twist_deg",
    ]
    print(upwind[shown].unstack("option").T.round(2).to_string())
    gains = comparison.vmg_gain_kn("taller_rig", aim="upwind")
    for tws_kn, gain_kn in zip((8, 14, 20), gains, strict=True):
        verdict = "worth having" if gain_kn > 0.005 else "a loss" if gain_kn < -0.005 else "level"
        print(f"{tws_kn} kn: {gain_kn:+.3f} kn of VMG, {verdict}")


if __name__ == "__main__":
    main()

"""Is half a metre of luff below the mast's pivot worth having upwind, and does a lowered deck alone do it?

Compares the demo boat on foils with its options `low_luff` and `deck_only` at the best VMG upwind in 10 and
16 kn, and shows where the answer comes from: the righting moment is spent on side force at a height.
"""

from pathlib import Path

import vpp

BOAT = Path(__file__).parent.parent / "configs" / "foiling_monohull.toml"
OPTIONS = ("low_luff", "deck_only")
TWS_KN = (10, 16)


def main() -> None:
    """Print the gains and the balance behind them."""
    comparison = vpp.compare(vpp.load(BOAT), tws_kn=TWS_KN, twa_deg=(50,), options=OPTIONS)
    table = comparison.polar.to_frame()
    upwind = table[table["aim"] == "upwind"].set_index(["tws_kn", "option"])
    shown = [
        "vmg_kn",
        "boat_speed_kn",
        "twa_deg",
        "ride_height_m",
        "cant_deg",
        "righting_moment_nm",
        "ce_height_m",
        "side_force_n",
        "drive_n",
    ]
    print(upwind[shown].unstack("option").T.round(2).to_string())
    for option in OPTIONS:
        gains = comparison.vmg_gain_kn(option, aim="upwind")
        for tws_kn, gain_kn in zip(TWS_KN, gains, strict=True):
            print(f"{option} in {tws_kn} kn: {gain_kn:+.2f} kn of VMG")


if __name__ == "__main__":
    main()

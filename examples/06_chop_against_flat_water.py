"""What does a chop cost upwind, and is a deeper keel or a cleaner bottom still worth as much in it?

A boat file's boats can be put into another sea without touching the file.
"""

from pathlib import Path

import vpp
from vpp.boat import Sea

BOAT = Path(__file__).parent.parent / "configs" / "keelboat_water.toml"
CHOP = Sea(model="given", significant_height=0.4, peak_period=3.0)
OPTIONS = ["deeper_keel", "fouled_bottom"]


def main() -> None:
    """Print best VMG upwind and the gains of two options, on flat water and in the chop."""
    flat = vpp.load(BOAT)
    for name, file in (("flat water", flat), ("0.4 m of chop", flat.at_sea(CHOP))):
        comparison = vpp.compare(file, tws_kn=[8.0, 14.0], twa_deg=[90.0], options=OPTIONS)
        gains = comparison.gain_frame()
        upwind = gains[gains["aim"] == "upwind"].set_index(["option", "tws_kn"])
        for tws_kn in (8.0, 14.0):
            base_kn = upwind.loc[(OPTIONS[0], tws_kn), "base_kn"]
            told = ", ".join(
                f"{option} {upwind.loc[(option, tws_kn), 'gain_kn']:+.2f} kn" for option in OPTIONS
            )
            print(f"{name}, {tws_kn:g} kn of wind: VMG {base_kn:.2f} kn; {told}")


if __name__ == "__main__":
    main()

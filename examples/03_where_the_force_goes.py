"""Where does the drive go? The budget of one condition, along the course, largest first."""

from pathlib import Path

import vpp

BOAT = Path(__file__).parent.parent / "configs" / "keelboat.toml"


def main() -> None:
    """Print every component's share of the drive for the base boat and the long luff."""
    boat = vpp.load(BOAT)
    for option in ("base", "long_luff"):
        point = vpp.point(boat, tws_kn=12, twa_deg="upwind", option=option)
        budget = point.budget.set_index("component")["force_x_n"]
        drive = budget[["main", "jib"]].sum()
        speed, vmg = float(point.values["boat_speed_kn"]), float(point.values["vmg_kn"])
        print(f"{option}: {speed:.2f} kn, VMG {vmg:.2f} kn, sails drive with {drive:.0f} N, of which")
        for component, force in budget[budget < -0.5].sort_values().items():
            print(f"  {component:16s} takes {-force / drive:6.1%}")


if __name__ == "__main__":
    main()

"""Cut the head away, or add area below the pivot? A decision inside a rule box, with its reasons.

Compares three mainsails of the foiling demo boat in 8 and 16 kn, prints which is best where, the gains by
wind, and where the loss of the one that looked best, the cut head, comes from. docs/worked_decision.md goes
on to a course, a forecast, how sure it all is and a page for a meeting.
"""

from pathlib import Path

import vpp

BOAT = Path(__file__).parent.parent / "configs" / "mainsail_decision.toml"
LOOKED_BEST = "cut_head"


def main() -> None:
    """Print the answer, the gains, and the reasons for one of them."""
    file = vpp.load(BOAT)
    comparison = vpp.compare(file, tws_kn=[8.0, 16.0], twa_deg=[90.0])
    for sentence in comparison.by_wind():
        print(sentence)
    gain = comparison.gain_frame()
    made_good = gain[gain["aim"] != "speed"]
    print(made_good.pivot(index=["aim", "option"], columns="tws_kn", values="gain_kn").round(2).to_string())
    print(vpp.why(file, option=LOOKED_BEST, tws_kn=12.0, twa_deg="downwind").sentence())


if __name__ == "__main__":
    main()

"""Cut the head away, or add area below the pivot? A decision inside a rule box, with its reasons.

Compares three mainsails of the foiling demo boat in 8, 12 and 16 kn, prints which to take, by how much, and
where the gain of the one that looked best, the cut head, goes. docs/worked_decision.md goes on to a course, a
forecast and how sure it is; `vpp compare configs/mainsail_decision.toml --brief decision.pdf` makes the page.
"""

from pathlib import Path

import vpp
from vpp.brief import brief

BOAT = Path(__file__).parent.parent / "configs" / "mainsail_decision.toml"
QUESTION = "Cut the head away, or add area below the pivot?"
LOOKED_BEST = "cut_head"


def main() -> None:
    """Print the answer, the gains wind by wind, and the reasons for one of them."""
    file = vpp.load(BOAT)
    comparison = vpp.compare(file, tws_kn=[8.0, 12.0, 16.0], twa_deg=[90.0])
    page = brief(file, comparison, question=QUESTION, draws=0)
    print(page.question)
    print(page.headline)
    for sentence in page.answer():
        print(f"  {sentence}")
    gain = comparison.gain_frame()
    made_good = gain[gain["aim"] != "speed"]
    print(made_good.pivot(index=["aim", "option"], columns="tws_kn", values="gain_kn").round(2).to_string())
    for aim in ("upwind", "downwind"):
        print(vpp.why(file, option=LOOKED_BEST, tws_kn=12.0, twa_deg=aim).sentence())


if __name__ == "__main__":
    main()

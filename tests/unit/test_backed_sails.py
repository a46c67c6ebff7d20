"""Results in which a sail as a whole has the wind on its leeward side say so."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import vpp
from vpp.reporting import BACKED, backed_sails
from vpp.solved import Strips
from vpp.why import split

KEELBOAT = Path(__file__).parents[2] / "configs" / "keelboat.toml"


def strips(*, forward: list[list[float]], leeward: list[list[float]], chord_deg: float) -> Strips:
    """Strips of two sails, two each, in as many conditions as there are columns."""
    shape = np.shape(forward)
    rest = {
        name: np.zeros(shape)
        for name in (
            "height", "x", "width", "incidence", "lift_coefficient", "camber", "nose_angle", "wind_speed",
            "wind_angle", "flow_angle",
        )
    }  # fmt: skip
    return Strips(
        sail=("main", "main", "jib", "jib"),
        forward=np.array(forward),
        leeward=np.array(leeward),
        chord_angle=np.full(shape, np.radians(chord_deg)),
        **rest,
    )


def test_a_sail_is_backed_where_its_strips_together_push_to_windward() -> None:
    found = backed_sails(
        strips(
            forward=[[1.0, 1.0, 0.0], [1.0, 1.0, 0.0], [-1.0, 1.0, -1.0], [-1.0, 1.0, -1.0]],
            # in the second condition the main's head alone pushes to windward
            leeward=[[4.0, 4.0, -1.0], [4.0, -3.0, -1.0], [-2.0, 3.0, -2.0], [1.0, 3.0, 1.0]],
            chord_deg=10.0,
        )
    )
    assert found == [
        BACKED.format(sail="jib"),
        "",
        f"{BACKED.format(sail='main')}; {BACKED.format(sail='jib')}",
    ]


def test_a_sail_squared_off_before_the_wind_is_not_backed_by_a_push_to_windward() -> None:
    """Its force stands along the course, normal to its chord; what is left across may have either sign."""
    forward, leeward = [[5.0], [5.0], [5.0], [5.0]], [[-0.4], [-0.4], [-0.4], [-0.4]]
    assert backed_sails(strips(forward=forward, leeward=leeward, chord_deg=85.0)) == [""]


def test_strips_without_a_result_are_not_backed() -> None:
    nothing = [[np.nan]] * 4
    assert backed_sails(strips(forward=nothing, leeward=nothing, chord_deg=10.0)) == [""]


def test_a_gain_between_a_pulling_and_a_backed_jib_is_said_to_have_rough_parts() -> None:
    """The model's best of the longer luff in 14 kn has its jib eased past luffing; of the base it pulls."""
    file = vpp.load(KEELBOAT)
    base, option = (
        vpp.point(file, tws_kn=14.0, twa_deg="upwind", option=name) for name in ("base", "long_luff")
    )
    jib = {name: point.values["jib_sheet_deg"] for name, point in (("base", base), ("long_luff", option))}
    assert BACKED.format(sail="jib") in option.values["remark"]
    assert BACKED.format(sail="jib") not in base.values["remark"]
    found = split(base, option)
    assert found.apart == (
        f"jib sheet angle {jib['base']:.1f} deg on base, {jib['long_luff']:.1f} deg on long_luff",
    )
    assert found.apart[0] in found.sentence()
    assert found.remainder_kn == pytest.approx(
        option.values["vmg_kn"] - base.values["vmg_kn"] - sum(part.gain_kn for part in found.parts), abs=1e-3
    )

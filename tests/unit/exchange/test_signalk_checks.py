"""What the published schema lets pass is refused, each fault with a sentence."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable
from typing import Any

import pytest

from vpp.exchange import formats
from vpp.exchange.formats import export
from vpp.exchange.signalk import document
from vpp.exchange.signalk_checks import differences, problems
from vpp.exchange.table import ExportError, PolarTable
from vpp.polar import Polar
from vpp.results.variables import DEGREE, KNOT

Change = Callable[[dict[str, Any], dict[str, Any], dict[str, Any]], object]


def changed(table: PolarTable, change: Change) -> dict[str, Any]:
    """A document after a change to it, its vessel's performance and the first polar."""
    found = copy.deepcopy(document(table))
    (vessel,) = found["vessels"].values()
    change(found, vessel["performance"], next(iter(vessel["performance"]["polars"].values())))
    return found


def point(polar: dict[str, Any], key: str = "angleData") -> list[Any]:
    return polar["windData"][0][key][0]


def every_point(polar: dict[str, Any]) -> list[list[float]]:
    keys = ("angleData", "optimalBeats", "optimalGybes")
    return [each for wind in polar["windData"] for key in keys for each in wind[key]]


def in_degrees(polar: dict[str, Any]) -> None:
    for each in every_point(polar):
        each[0] /= DEGREE


def in_knots(polar: dict[str, Any], *, winds: bool) -> None:
    for wind in polar["windData"] if winds else ():
        wind["trueWindSpeed"] /= KNOT
    for each in every_point(polar):
        each[1:] = [speed / KNOT for speed in each[1:]]


def test_document_as_it_is_made_has_no_fault(table: PolarTable) -> None:
    assert problems(document(table)) == ()
    assert differences(document(table), table) == ()


FAULTS: dict[str, tuple[Change, str]] = {
    "degrees": (lambda d, p, polar: in_degrees(polar), "the angle is 30, above pi: it may be in degrees"),
    "wind in knots": (
        lambda d, p, polar: polar["windData"][2].update(trueWindSpeed=24.0),
        "windData[2].trueWindSpeed: 24 m/s is more than 20.6, the most here: it may be in knots",
    ),
    "VMG in knots": (
        lambda d, p, polar: point(polar).__setitem__(2, point(polar)[2] / KNOT),
        "angleData[0]: VMG is ",
    ),
    "VMG of the wrong sign": (
        lambda d, p, polar: polar["windData"][0]["angleData"][3].__setitem__(2, 2.0),
        "angleData[3]: VMG is 2 m/s where speed times the angle's cosine is -",
    ),
    "negative speed": (lambda d, p, polar: point(polar).__setitem__(1, -2.0), "the speed is -2 m/s, below 0"),
    "negative angle": (lambda d, p, polar: point(polar).__setitem__(0, -0.5), "the angle is -0.5, below 0"),
    "negative wind": (
        lambda d, p, polar: polar["windData"][0].update(trueWindSpeed=-4.0),
        "windData[0].trueWindSpeed: the speed is -4 m/s, below 0",
    ),
    "speed is NaN": (
        lambda d, p, polar: point(polar).__setitem__(1, math.nan),
        "angleData[0]: the speed is nan, which is no number",
    ),
    "angle is NaN": (
        lambda d, p, polar: point(polar, "optimalBeats").__setitem__(0, math.nan),
        "optimalBeats[0]: the angle is nan, which is no number",
    ),
    "VMG is NaN": (
        lambda d, p, polar: point(polar).__setitem__(2, math.nan),
        "angleData[0]: VMG is nan, which is no number",
    ),
    "wind without end": (
        lambda d, p, polar: polar["windData"][1].update(trueWindSpeed=math.inf),
        "windData[1].trueWindSpeed: the speed is inf, which is no number",
    ),
    "true for a number": (
        lambda d, p, polar: point(polar).__setitem__(1, True),
        "the speed is True, which is no number",
    ),
    "active polar that is not there": (
        lambda d, p, polar: p.update(activePolar="nobody"),
        "performance.activePolar: 'nobody' is none of the polars",
    ),
    "active polar's data of another": (
        lambda d, p, polar: p.update(activePolarData=list(p["polars"].values())[1]),
        "activePolarData: it is not the polar that activePolar names",
    ),
    "id of another": (lambda d, p, polar: polar.update(id="other"), "its id is 'other'"),
    "own vessel that is not there": (
        lambda d, p, polar: d.update(self="vessels.nobody"),
        "self: 'vessels.nobody' is none of the document's vessels",
    ),
    "vessel's uuid of another": (
        lambda d, p, polar: next(iter(d["vessels"].values())).update(uuid="urn:other"),
        "its uuid is 'urn:other'",
    ),
    "winds that do not rise": (
        lambda d, p, polar: polar["windData"].reverse(),
        "trueWindSpeed does not rise from one to the next",
    ),
    "angle that stands there twice": (
        lambda d, p, polar: polar["windData"][0]["angleData"].insert(0, point(polar)),
        "windData[0]: angleData does not rise from one to the next",
    ),
    "beating downwind": (
        lambda d, p, polar: point(polar, "optimalBeats").__setitem__(0, 2.5),
        "optimalBeats[0]: 2.5 rad is not an angle for beating",
    ),
    "gybing upwind": (
        lambda d, p, polar: point(polar, "optimalGybes").__setitem__(0, 0.7),
        "optimalGybes[0]: 0.7 rad is not an angle for gybing",
    ),
    "angle without a speed": (
        lambda d, p, polar: polar["windData"][0]["angleData"].__setitem__(0, [0.5]),
        "angleData[0]: it needs an angle and a speed",
    ),
    "no wind": (lambda d, p, polar: polar.update(windData=[]), "it has no wind"),
    "wind without speeds": (
        lambda d, p, polar: polar.update(windData=[{"trueWindSpeed": 5.0, "angleData": []}]),
        "windData[0]: it has no boat speed",
    ),
    "no polars": (lambda d, p, polar: p.clear(), "no vessel of the document has polars"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_fault_is_refused_with_a_sentence(table: PolarTable, fault: str) -> None:
    change, sentence = FAULTS[fault]
    told = problems(changed(table, change))
    assert any(sentence in each for each in told), told


DIFFERENCES: dict[str, tuple[Change, str]] = {
    "all in knots": (
        lambda d, p, polar: in_knots(polar, winds=True),
        "base, trueWindSpeed: 8.00001 where the table has 4.11556: it is in knots",
    ),
    "boat speed in knots": (
        lambda d, p, polar: in_knots(polar, winds=False),
        "base, speed of angleData: 3.59269 where the table has 1.84824: it is in knots",
    ),
    "degrees": (
        lambda d, p, polar: in_degrees(polar),
        "base, angle of angleData: 30 where the table has 0.523599: it is in degrees",
    ),
    "another speed": (
        lambda d, p, polar: point(polar).__setitem__(1, 2.0),
        "base, speed of angleData: 2 where the table has ",
    ),
    "NaN": (
        lambda d, p, polar: point(polar).__setitem__(1, math.nan),
        "base, speed of angleData: nan where the table has ",
    ),
    "a point too few": (
        lambda d, p, polar: polar["windData"][0]["angleData"].pop(),
        "base, angle of angleData: the document has 9 where the table has 10",
    ),
    "a polar too few": (
        lambda d, p, polar: p["polars"].pop(polar["id"]),
        "base: the document has no polar of it",
    ),
    "a polar too many": (
        lambda d, p, polar: p["polars"].update(another=polar),
        "polar another: the table has no such option",
    ),
}


@pytest.mark.parametrize("fault", DIFFERENCES)
def test_difference_from_the_table_is_told(table: PolarTable, fault: str) -> None:
    change, sentence = DIFFERENCES[fault]
    told = differences(changed(table, change), table)
    assert any(each.startswith(sentence) for each in told), told


def test_speeds_in_knots_of_light_winds_are_found_only_by_the_table(polar: Polar) -> None:
    """Which is why an export is held against its table."""
    frame = polar.to_frame()
    light = PolarTable.from_frame(frame[frame["tws_kn"] < 20.0], source=polar.source)
    found = changed(light, lambda d, p, polar: in_knots(polar, winds=True))
    assert problems(found) == ()
    assert any("it is in knots" in each for each in differences(found, light))


def test_document_with_a_fault_is_not_written(
    table: PolarTable, tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    wrong = changed(table, lambda d, p, polar: in_degrees(polar))
    monkeypatch.setattr(formats, "document", lambda _: wrong)
    with pytest.raises(ExportError, match=r"would be wrong: .* it may be in degrees"):
        export(table, tmp_path / "none", formats=["csv", "signalk"])
    assert not (tmp_path / "none").exists()

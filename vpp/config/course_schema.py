"""The course file as data: every key with its unit, range, default and description."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from vpp.config.schema import TableModel, line, quantity

MOST_ROWS = 1000
_LEAST_WIND_KN, _MOST_WIND_KN = 0.5, 40.0
_WIND = "true wind speed over the ground"
_FROM = "where the wind comes from, from north"


def _lists(description: str, *, default: Any = ...) -> Any:
    return Field(default, min_length=2, max_length=200, description=description)


def _length(unit: str, high: float) -> Any:
    return quantity(f"length over the ground, in {unit}", 1e-3, high, default=None)


Winds = tuple[Annotated[float, Field(ge=_LEAST_WIND_KN, le=_MOST_WIND_KN)], ...]
Times = tuple[Annotated[float, Field(ge=0.0, le=1e6)], ...]
Bearings = tuple[Annotated[float, Field(ge=0.0, le=360.0)], ...]
Weights = tuple[Annotated[float, Field(ge=0.0, le=1e6)], ...]


class SteadyWindTable(TableModel):
    """One wind for the whole course."""

    model: Literal["steady"] = Field(description="one wind for the whole course")
    tws_kn: float = quantity(_WIND, _LEAST_WIND_KN, _MOST_WIND_KN)
    twd_deg: float = quantity(_FROM, 0.0, 360.0)


class WindOverTimeTable(TableModel):
    """A wind that changes while the course is sailed, by straight lines between the times given."""

    model: Literal["over_time"] = Field(description="a wind that changes while the course is sailed")
    file: str | None = Field(
        default=None, description="CSV file beside the course file with the columns time_s,tws_kn,twd_deg"
    )
    time_s: Times | None = _lists("times from the start, rising from 0", default=None)
    tws_kn: Winds | None = _lists(f"{_WIND}, at each time", default=None)
    twd_deg: Bearings | None = _lists(f"{_FROM}, at each time", default=None)


class WeibullWindTable(TableModel):
    """Winds by a Weibull distribution, in even steps."""

    model: Literal["weibull"] = Field(description="winds by a Weibull distribution, in even steps")
    scale_kn: float = quantity("scale of the distribution", 1.0, _MOST_WIND_KN)
    shape: float = quantity("shape of the distribution", 0.8, 20.0)
    from_kn: float = quantity("lowest wind; it stands for half a step to either side", 0.5, _MOST_WIND_KN)
    to_kn: float = quantity("highest wind; it stands for half a step to either side", 0.5, _MOST_WIND_KN)
    step_kn: float = quantity("step between winds", 0.1, 20.0)
    twd_deg: float = quantity(_FROM, 0.0, 360.0)


class ListedWindTable(TableModel):
    """Winds with a weight each."""

    model: Literal["listed"] = Field(description="winds with a weight each")
    tws_kn: Winds = _lists(f"{_WIND}, rising")
    weight: Weights = _lists("weight of each wind; their sum is taken as one")
    twd_deg: float = quantity(_FROM, 0.0, 360.0)


WIND_TABLES: dict[str, type[TableModel]] = {
    "steady": SteadyWindTable,
    "over_time": WindOverTimeTable,
    "weibull": WeibullWindTable,
    "listed": ListedWindTable,
}


class AnyWindTable(TableModel):
    """What a wind of any model has: stands in where the model is missing or not known."""

    model: Literal["steady", "over_time", "weibull", "listed"] = Field(description="how the wind is given")


class CurrentTable(TableModel):
    """A uniform, steady current."""

    speed_kn: float = quantity("speed of the current", 0.0, 20.0)
    toward_deg: float = quantity("where the current flows to, from north", 0.0, 360.0)


class ManoeuvresTable(TableModel):
    """What each tack and gybe loses: seconds, or metres towards the mark."""

    tack_lost_s: float | None = quantity("time lost in a tack", 0.0, 600.0, default=None)
    gybe_lost_s: float | None = quantity("time lost in a gybe", 0.0, 600.0, default=None)
    tack_lost_m: float | None = quantity("way towards the mark lost in a tack", 0.0, 2000.0, default=None)
    gybe_lost_m: float | None = quantity("way towards the mark lost in a gybe", 0.0, 2000.0, default=None)


class LineTable(TableModel):
    """A start or finish line, from where the boat is."""

    distance_nm: float | None = _length("nautical miles", 100.0)
    distance_m: float | None = _length("metres", 185200.0)
    bearing_deg: float = quantity("bearing of the nearest point of the line, from north", 0.0, 360.0)


class LegTable(TableModel):
    """A leg of the course, from mark to mark."""

    name: str | None = Field(
        default=None, pattern=r"^[^\r\n]+$", max_length=60, description="what the leg is called"
    )
    length_nm: float | None = _length("nautical miles", 1000.0)
    length_m: float | None = _length("metres", 1852000.0)
    bearing_deg: float = quantity("bearing of the mark at its end from that at its beginning", 0.0, 360.0)
    more_turns: int = Field(
        default=0,
        ge=0,
        le=1000,
        description="tacks or gybes beyond the least, where the leg is sailed on both tacks",
    )


class LapTable(TableModel):
    """Laps to windward and back."""

    length_nm: float | None = _length("nautical miles", 1000.0)
    length_m: float | None = _length("metres", 1852000.0)
    count: int = Field(default=1, ge=1, le=100, description="how often it is sailed")
    axis_deg: float | None = quantity(
        "bearing of the windward mark; where the wind comes from at the start when left out",
        0.0,
        360.0,
        default=None,
    )
    more_turns: int = Field(
        default=0,
        ge=0,
        le=1000,
        description="tacks or gybes beyond the least, of each leg that is sailed on both tacks",
    )


class CourseDocument(TableModel):
    """What stands at the top of a course file."""

    schema_version: Literal[1] = Field(description="version of the file format")
    name: str = line("name of the course")
    description: str | None = Field(
        default=None, pattern=r"^[^\r\n]+$", max_length=200, description="what the course is"
    )


SINGLE_COURSE_TABLES: dict[str, type[TableModel]] = {
    "wind": AnyWindTable,
    "current": CurrentTable,
    "manoeuvres": ManoeuvresTable,
    "line": LineTable,
}
REPEATED_COURSE_TABLES: dict[str, type[TableModel]] = {"leg": LegTable, "lap": LapTable}
COURSE_TABLES = SINGLE_COURSE_TABLES | REPEATED_COURSE_TABLES

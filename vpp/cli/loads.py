"""`vpp loads`: what sheets, leech, stay and mast pull, and what trimming takes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from vpp.cli.console import SOME_FAILED, closing, print_result, stop, table, wrapped
from vpp.cli.options import (
    BaseOptions,
    BoatPath,
    Format,
    OneTwa,
    OneTws,
    Printed,
    Waves,
    angle_of,
    folder_problems,
    read_boat,
)

if TYPE_CHECKING:
    import pandas as pd

    from vpp.config import BoatFile
    from vpp.results.files import Written
    from vpp.rig_loads import RigLoads, SailLoads, Trimming

_BASE = "base"
_MOST_POINTS = 11
# What is printed of each sail: quantity, its name in words, and what it is divided by.
_LOADS = (
    ("sheet_tension", "sheet, kN", 1e3),
    ("block_to_leeward", "traveller or lead, to leeward, kN", 1e3),
    ("leech_tension", "leech at the clew, kN", 1e3),
    ("clew_to_leeward", "clew, to leeward across the foot, kN", 1e3),
    ("stay_tension", "stay under the luff, kN", 1e3),
    ("left_to_vang", "left to a vang, about the gooseneck, kN m", 1e3),
    ("mast_turning_moment", "wind turns the mast by, kN m", 1e3),
    ("moment_about_luff", "wind swings the sail by, kN m", 1e3),
    ("moment_opening_twist", "wind opens the twist by, kN m", 1e3),
    ("normal_force", "force across the chords, kN", 1e3),
)
_CHECKS = (
    ("rule_of_thumb", "sheet by the rule of thumb, kN", 1e3),
    ("leech_tension_alone", "upper bound: leech that alone holds the twist, kN", 1e3),
    ("twist", "twist, deg", 1.0),
)
_RULE = (
    "The rule of thumb is 0.78 N for each square metre and metre a second squared of apparent wind, with\n"
    "luff times foot as the area of a sail on a boom: common practice, no source."
)
_SIGNS = (
    "x forward of midships, y to leeward of the centreline, height along the mast over the boat's water line."
)


def loads(
    boat: BoatPath,
    tws: OneTws = None,
    twa: OneTwa = None,
    option: BaseOptions = None,
    to_tws: Annotated[
        float | None,
        typer.Option(
            "--to-tws", metavar="KN", help="Wind speed to trim to, kn.", show_default="that of --tws"
        ),
    ] = None,
    to_twa: Annotated[
        str | None,
        typer.Option(
            "--to-twa", metavar="DEG", help="Wind angle to trim to, deg.", show_default="that of --twa"
        ),
    ] = None,
    points: Annotated[
        int | None,
        typer.Option(
            "--points", metavar="N", help="States that the work is summed through.", show_default="2"
        ),
    ] = None,
    period: Annotated[
        float | None,
        typer.Option("--period-s", metavar="S", help="Time of a cycle to the other wind and back, s."),
    ] = None,
    power: Annotated[
        float | None,
        typer.Option(
            "--power-w",
            metavar="W",
            help="Power of crew or pump, W.",
            show_default="the boat file's, or 200",
        ),
    ] = None,
    branch: Annotated[
        str | None,
        typer.Option(
            "--branch",
            metavar="NAME",
            help="How the boat is carried: hull-borne or foil-borne.",
            show_default="the better",
        ),
    ] = None,
    sail_set: Annotated[
        str | None,
        typer.Option(
            "--sail-set", metavar="NAME", help="Which of the boat's sail sets is up.", show_default="the best"
        ),
    ] = None,
    sea: Waves = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="DIR", help="Folder for the files.", show_default="no files"),
    ] = None,
    printed: Printed = Format.TEXT,
) -> None:
    """Loads of sheets, leech and mast, and what trimming takes.

    Estimates of the steady pull, not for sizing gear. With another wind: work and power of trimming to it.

    Example: vpp loads keelboat.toml --tws 14 --twa 45

    Example: vpp loads keelboat.toml --tws 14 --twa 45 --to-tws 18 --period-s 20 --power-w 300
    """
    from vpp.config import BoatFileError

    options = list(dict.fromkeys(option or (_BASE,)))
    asked = _Asked(tws=tws, twa=twa, to_tws=to_tws, to_twa=to_twa, points=points, period=period, power=power)
    problems, boat_file = [*asked.problems(), *folder_problems(out)], None
    try:
        boat_file = read_boat(boat, options=options, sea=sea)
    except BoatFileError as error:
        problems += [str(problem) for problem in error.problems]
    if problems or boat_file is None:
        stop(problems)
    found, reasons = _solve(boat_file, options, asked, branch=branch, sail_set=sail_set)
    for name, reason in reasons.items():
        typer.echo(f"No result{f' for {name}' if len(options) > 1 else ''}: {reason}", err=True)
    if found:
        written = None if out is None else _write(found, out)
        text = _PRINT[printed](found, written)
        if written is None:
            typer.echo(text, nl=printed is Format.TEXT)
        else:
            print_result(text, written, is_data=printed is not Format.TEXT)
    if reasons:
        raise typer.Exit(SOME_FAILED)


@dataclass(frozen=True, kw_only=True)
class _Asked:
    """Winds, and what is to be found between them, as given."""

    tws: float | None
    twa: str | None
    to_tws: float | None
    to_twa: str | None
    points: int | None
    period: float | None
    power: float | None

    @property
    def trims(self) -> bool:
        """Whether there is another wind to trim to."""
        return self.to_tws is not None or self.to_twa is not None

    @property
    def first(self) -> tuple[float, Any]:
        """The wind whose loads are asked for."""
        return math.nan if self.tws is None else self.tws, angle_of(self.twa or "")

    @property
    def last(self) -> tuple[float, Any]:
        """The wind that is trimmed to."""
        speed, angle = self.first
        return (
            speed if self.to_tws is None else self.to_tws,
            angle if self.to_twa is None else angle_of(self.to_twa),
        )

    def winds(self) -> list[tuple[float, Any]]:
        """All winds to be solved, in their order."""
        from vpp.rig_loads import winds_between

        return winds_between(self.first, self.last, points=self.points or 2) if self.trims else [self.first]

    def problems(self) -> list[str]:
        """What is wrong with what is asked for."""
        given = {"--tws": self.tws, "--twa": self.twa}
        found = [f"{name}: missing" for name, value in given.items() if value is None]
        if not found:
            found += _wind_problems(*self.first)
            if self.trims:
                found += [f"to {problem}" for problem in _wind_problems(*self.last)]
                found += _way_problems(self.first[1], self.last[1])
        between = {"--points": self.points, "--period-s": self.period, "--power-w": self.power}
        if not self.trims:
            found += [
                f"{name}: there is nothing to trim to without --to-tws or --to-twa"
                for name, value in between.items()
                if value is not None
            ]
        if self.points is not None and not 2 <= self.points <= _MOST_POINTS:
            found.append(f"points = {self.points}: write a whole number from 2 to {_MOST_POINTS}")
        for name, value, unit in (("period-s", self.period, "s"), ("power-w", self.power, "W")):
            if value is not None and not 0.0 < value < math.inf:
                found.append(f"{name} = {value:g} {unit}: write a number above 0")
        return found


def _wind_problems(tws: float, twa: float | str) -> list[str]:
    from vpp.polar import WindGrid, WindGridError, check_aim

    found: list[str] = []
    try:
        WindGrid(tws_kn=(tws,), twa_deg=(90.0 if isinstance(twa, str) else twa,))
    except WindGridError as error:
        found += error.problems
    if isinstance(twa, str):
        try:
            check_aim(twa)
        except WindGridError as error:
            found += error.problems
    return found


def _way_problems(first: float | str, last: float | str) -> list[str]:
    """Between an angle and a best VMG, or two of them, there are no winds to sum through."""
    if first == last or not (isinstance(first, str) or isinstance(last, str)):
        return []
    return [f"to-twa = {last}: from --twa {first} there is no way to it; give two angles, or the same word"]


@dataclass(frozen=True, kw_only=True)
class _Found:
    """The loads of one option in the wind asked for, and what trimming to the other takes."""

    states: tuple[RigLoads, ...]
    trimming: Trimming | None

    @property
    def shown(self) -> tuple[RigLoads, ...]:
        """The states whose loads are shown: the first, and the last where there is another."""
        return self.states[:1] if len(self.states) == 1 else (self.states[0], self.states[-1])


def _solve(
    boat_file: BoatFile,
    options: Sequence[str],
    asked: _Asked,
    *,
    branch: str | None,
    sail_set: str | None,
) -> tuple[list[_Found], dict[str, str]]:
    """What is found, and by option why nothing is; no such branch or sail set ends the command."""
    from vpp.polar import NoSuchBranch, NoSuchSailSet, point
    from vpp.rig_loads import rig_loads, trimming
    from vpp.solved import NoEquilibrium

    found, reasons = [], {}
    for name in options:
        states = []
        try:
            for tws, twa in asked.winds():
                at = f"at {tws:g} kn, {f'{twa:g} deg' if not isinstance(twa, str) else twa}: "
                solved = point(
                    boat_file, tws_kn=tws, twa_deg=twa, option=name, branch=branch, sail_set=sail_set
                )
                states.append(rig_loads(solved))
        except (NoSuchBranch, NoSuchSailSet) as error:
            stop([str(error)])
        except NoEquilibrium as reason:
            reasons[name] = f"{at if asked.trims else ''}{reason}"
            continue
        work = trimming(states, period_s=asked.period, power_w=asked.power) if asked.trims else None
        found.append(_Found(states=tuple(states), trimming=work))
    return found, reasons


# --- text ---------------------------------------------------------------------------------------------------


def _text(found: Sequence[_Found], written: Written | None) -> str:
    from vpp.results.files import CAUTION
    from vpp.rig_loads import LOADS_CAUTION

    parts = [_source(found).line]
    for item in found:
        parts += [_state(state) for state in item.shown]
        parts += ["\n".join(wrapped(note) for note in _notes(item))] if _notes(item) else []
        parts.append(_sheeting(item.states[0]))
        parts += [_work(item.trimming)] if item.trimming is not None else []
    parts += [_RULE, LOADS_CAUTION]
    return "\n\n".join([*parts, CAUTION if written is None else closing(written)])


def _state(state: RigLoads) -> str:
    from vpp.rig_loads import wind_text

    worn = state.point.values["sail_set"]
    title = f"{state.option}{f', under {worn}' if worn else ''}: {wind_text(state)}"
    names = [sail.sail for sail in state.sails]
    rows = [
        *_rows(state.sails, _LOADS),
        ("cross-checks", *[""] * len(names)),
        *_rows(state.sails, _CHECKS),
    ]
    return f"{title}\n\n{table(('estimated loads', *names), rows)}\n\n{_lines_of_action(state)}"


def _rows(
    sails: Sequence[SailLoads], quantities: Sequence[tuple[str, str, float]]
) -> Iterator[tuple[str, ...]]:
    """A row for every quantity that some sail has."""
    for name, says, per in quantities:
        if any(item.name == name for sail in sails for item in sail.quantities):
            yield f"  {says}", *(_number(sail.of(name) / per, 2) for sail in sails)


def _lines_of_action(state: RigLoads) -> str:
    ends = [f"sheet_{end}_{axis}" for end in ("from", "to") for axis in ("x", "y", "height")]
    header = ("lines of action", "x m", "y m", "height m", "to x m", "y m", "height m", "off vertical deg")
    rows = [
        (
            f"  {sail.sail} sheet",
            *(_number(sail.of(name), 2) for name in ends),
            _number(sail.of("sheet_from_vertical"), 1),
        )
        for sail in state.sails
    ]
    effort = [
        f"{sail.sail}: force across the chords {_number(sail.of('effort_behind_luff'), 2)} m behind the "
        f"luff, at {_number(sail.of('effort_height'), 2)} m"
        for sail in state.sails
        if math.isfinite(sail.of("effort_height"))
    ]
    return "\n".join([table(header, rows), *effort, _SIGNS])


def _notes(found: _Found) -> list[str]:
    """What is to be said of single numbers, with its state where there are two."""
    from vpp.rig_loads import wind_text

    told: dict[str, None] = {}
    for state in found.shown:
        where = f" ({wind_text(state).split(', AWS')[0]})" if len(found.shown) > 1 else ""
        for sail in state.sails:
            for item in sail.quantities:
                if item.note and item.kind != "place" and item.name != "rule_of_thumb":
                    what = item.name.replace("_", " ")
                    told[f"{sail.sail}, {what}{where}: {item.note}"] = None
    return list(told)


def _sheeting(state: RigLoads) -> str:
    rows = [
        (f"  {row['sail']}", row["key"], row["value"], row["unit"], row["origin"])
        for row in state.geometry_frame().to_dict(orient="records")
    ]
    return table(("sheeting", "key", "value", "unit", "from"), rows, left=5)


def _work(found: Trimming) -> str:
    from vpp.rig_loads import wind_text

    first, last = (wind_text(state).split(", AWS")[0] for state in (found.states[0], found.states[-1]))
    option = found.states[0].option
    title = f"{option}: trimming from {first} to {last} and back, through {len(found.states)} states"
    header = ("work", "control", "from deg", "to deg", "from kN m", "to kN m", "out J", "back J")
    rows = [
        (
            f"  {row['sail']}", row["control"], _number(row["from_deg"], 1), _number(row["to_deg"], 1),
            _number(row["from_moment_nm"] / 1e3, 2), _number(row["to_moment_nm"] / 1e3, 2),
            _number(row["work_out_j"], 0), _number(row["work_back_j"], 0),
        )
        for row in found.to_frame().to_dict(orient="records")
    ]  # fmt: skip
    told = [wrapped(sentence) for sentence in found.summary()]
    return "\n".join([title, "", table(header, rows, left=2), "", *told])


def _number(value: float, decimals: int) -> str:
    from vpp.results.variables import show_number

    return show_number(value, decimals=decimals)


# --- data and files -----------------------------------------------------------------------------------------


def _source(found: Sequence[_Found]) -> Any:
    from vpp.rig_loads import source_of_loads

    return source_of_loads([state for item in found for state in item.states])


def _loads_frame(found: Sequence[_Found]) -> pd.DataFrame:
    import pandas as pd

    return pd.concat([state.to_frame() for item in found for state in item.shown], ignore_index=True)


def _geometry_frame(found: Sequence[_Found]) -> pd.DataFrame:
    import pandas as pd

    return pd.concat([item.states[0].geometry_frame() for item in found], ignore_index=True)


def _work_frame(found: Sequence[_Found]) -> pd.DataFrame | None:
    import pandas as pd

    frames = [item.trimming.to_frame() for item in found if item.trimming is not None]
    return pd.concat(frames, ignore_index=True) if frames else None


def _about(found: Sequence[_Found]) -> dict[str, Any]:
    from vpp.results.files import origin

    source = _source(found)
    return {
        **origin(source),
        "waves": source.sea or "none",
        "options": [item.states[0].option for item in found],
    }


def _caution() -> str:
    from vpp.results.files import CAUTION
    from vpp.rig_loads import LOADS_CAUTION

    return f"{LOADS_CAUTION} {CAUTION}"


def _json(found: Sequence[_Found], written: Written | None) -> str:
    from vpp.results.files import json_text, records

    work = _work_frame(found)
    return json_text(
        {
            **_about(found),
            "loads": records(_loads_frame(found)),
            "sheeting": records(_geometry_frame(found)),
            **({} if work is None else {"work": records(work)}),
            "power": [_power(item.trimming) for item in found if item.trimming is not None],
            **({} if written is None else {"files": [str(path) for path in written.files]}),
            "caution": _caution(),
        }
    )


def _power(found: Trimming) -> dict[str, Any]:
    mean = found.mean_power_w
    return {
        "option": found.states[0].option,
        "cycle_work_j": round(found.cycle_work_j, 2),
        "period_s": found.period_s,
        "mean_power_w": round(mean, 3) if math.isfinite(mean) else None,
        "power_w": found.power_w,
        "power_origin": found.power_origin,
        "least_period_s": round(found.least_period_s, 3),
        "not_told": list(found.not_told),
        "summary": list(found.summary()),
    }


def _csv(found: Sequence[_Found], written: Written | None) -> str:
    from vpp.results.files import csv_text

    return csv_text(_loads_frame(found))


def _write(found: Sequence[_Found], folder: Path) -> Written:
    from vpp.results.files import ABOUT, csv_text, json_text, write_folder

    work = _work_frame(found)
    texts = {"loads.csv": csv_text(_loads_frame(found)), "sheeting.csv": csv_text(_geometry_frame(found))}
    if work is not None:
        texts["trim_work.csv"] = csv_text(work)
    power = [_power(item.trimming) for item in found if item.trimming is not None]
    about = {**_about(found), "power": power, "files": [*texts, ABOUT], "caution": _caution()}
    try:
        return write_folder(folder, texts={**texts, ABOUT: json_text(about)}, figures={})
    except OSError as error:
        stop([f"out = {str(folder)!r}: cannot be written ({error.strerror})"])


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}

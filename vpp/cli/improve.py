"""`vpp improve`: numbers of a boat varied inside bounds and its rule box to make it faster."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from vpp.cli.console import SOME_FAILED, STOPPED, closing, print_result, progress, stop, table, wrapped
from vpp.cli.options import (
    BoatPath,
    Format,
    NoFigures,
    Out,
    Printed,
    Processes,
    Waves,
    folder_problems,
    process_count,
    read_boat,
)
from vpp.cli.writing import names_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from vpp.config import BoatFile
    from vpp.config.course_file import CourseFile
    from vpp.improve import Search
    from vpp.improve_asked import Angle
    from vpp.improve_result import Improvement
    from vpp.results.files import Written

_UNITS = ("kn", "deg", "%", "m", "kg", "m²", "s")
_MOST_ROWS = 24


def improve(
    boat: BoatPath,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            "--vary",
            metavar="KEY=LEAST:GREATEST",
            help="Number of the boat file to vary and its bounds, in the unit of the key; KEY+KEY moves both "
            "by as much. Repeat for more.  [required]",
        ),
    ] = None,
    tws: Annotated[
        str | None,
        typer.Option("--tws", metavar="KN,KN", help="True wind speeds; required without --course."),
    ] = None,
    twa: Annotated[
        str | None,
        typer.Option(
            "--twa",
            metavar="DEG,DEG",
            help="True wind angles, upwind and downwind. With --course, the angles of its polar.",
            show_default="upwind,downwind",
        ),
    ] = None,
    tws_weight: Annotated[
        str | None,
        typer.Option("--tws-weight", metavar="N,N", help="A weight for each wind.", show_default="equal"),
    ] = None,
    twa_weight: Annotated[
        str | None,
        typer.Option("--twa-weight", metavar="N,N", help="A weight for each angle.", show_default="equal"),
    ] = None,
    course_path: Annotated[
        Path | None,
        typer.Option("--course", metavar="COURSE", help="Course file: least time round it is the aim."),
    ] = None,
    against: Annotated[
        str | None,
        typer.Option(
            "--against",
            metavar="AIM",
            help="Second aim, for a front: upwind, downwind or DEG; 'tws=KN,KN twa=DEG,DEG'; or "
            "QUANTITY[:PART] of the rule box, to have less of.",
        ),
    ] = None,
    points: Annotated[int, typer.Option("--points", metavar="N", help="Points of the front.")] = 5,
    option: Annotated[
        str, typer.Option("--option", metavar="NAME", help="Option of the boat file to begin with.")
    ] = "base",
    name: Annotated[
        str, typer.Option("--name", metavar="NAME", help="Name of the option that is found.")
    ] = "improved",
    tries: Annotated[int, typer.Option("--tries", metavar="N", help="Most tries of one climb.")] = 60,
    starts: Annotated[
        int, typer.Option("--starts", metavar="N", help="Climbs; all but the first begin by chance.")
    ] = 1,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="Of that chance.")] = 1,
    draws: Annotated[
        int,
        typer.Option(
            "--draws",
            metavar="N",
            help="How sure the gain is: draws of what is uncertain, a power of two. 0 for none.",
        ),
    ] = 0,
    sea: Waves = None,
    out: Out = Path("out/improve"),
    printed: Printed = Format.TEXT,
    no_figures: NoFigures = False,
    processes: Processes = None,
) -> None:
    """Make a boat faster inside bounds and its rule box.

    Varies numbers of the boat file; prints an option for it, what that gains where, and what holds it back.

    Example: vpp improve keelboat.toml --vary fin.keel.span_m=1.3:1.8 --tws 8,14 -o improve
    """
    from vpp.improve import NoStart
    from vpp.solver.stopping import keep_on_interrupt

    search = _asked(
        boat,
        vary=vary or [],
        tws=tws,
        twa=twa,
        tws_weight=tws_weight,
        twa_weight=twa_weight,
        course_path=course_path,
        against=against,
        sea=sea,
        out=out,
        numbers={"points": points, "most": tries, "starts": starts, "seed": seed, "draws": draws},
        words={"option": option, "name": name},
    )
    search.processes = process_count(processes)
    try:
        with progress("solving") as report:
            search.progress = report
            with keep_on_interrupt():
                search.run()
            found = search.finish()
            found = _drawn(search, found)
    except NoStart as reason:
        typer.echo(f"No result for {option}: {reason}", err=True)
        raise typer.Exit(SOME_FAILED) from None
    written = _write(found, out, figures=not no_figures)
    print_result(_PRINT[printed](found, written), written, is_data=printed is not Format.TEXT)
    if found.source.stopped:
        typer.echo(f"stopped: the best of {found.followed} boats is kept", err=True)
        raise typer.Exit(STOPPED)


def _drawn(search: Search, found: Improvement) -> Improvement:
    """With how sure the gain is, unless Ctrl-C says that it is enough."""
    if found.source.stopped:
        return found
    try:
        return search.how_sure(found)
    except KeyboardInterrupt:
        told = "How sure the gain is: stopped before that was known."
        source = replace(found.source, stopped="draws ended by Ctrl-C")
        return replace(found, notes=(*found.notes, told), source=source)


# --- input --------------------------------------------------------------------------------------------------


def _asked(
    boat: Path,
    *,
    vary: Sequence[str],
    tws: str | None,
    twa: str | None,
    tws_weight: str | None,
    twa_weight: str | None,
    course_path: Path | None,
    against: str | None,
    sea: str | None,
    out: Path,
    numbers: dict[str, int],
    words: dict[str, str],
) -> Search:
    """The search; everything wrong with what it is asked ends the command."""
    from vpp.config import BoatFileError
    from vpp.improve import Search
    from vpp.improve_boats import ImproveError

    problems = folder_problems(out)
    if course_path is not None and (tws_weight or twa_weight):
        problems.append("tws_weight, twa_weight: of no use besides --course, whose winds have their own")
    bounds = _bounds(vary, problems)
    winds = _list(tws, "tws", problems)
    angles = _angles(twa, course_path is not None, problems)
    of_winds = _list(tws_weight, "tws_weight", problems)
    of_angles = _list(twa_weight, "twa_weight", problems)
    course = _course(course_path, problems)
    if course_path is None and tws is None:
        problems.append("--tws: missing: the winds in which the boat is to be faster; or give a --course")
    boat_file: BoatFile | None = None
    search: Search | None = None
    try:
        boat_file = read_boat(boat, options=[words["option"]], sea=sea)
        search = Search(
            boat_file,
            vary=bounds,
            # what is wrong or missing is told already: something stands in for it
            tws_kn=winds or ((10.0,) if course is None else ()),
            twa=angles or (() if course is not None else ("upwind", "downwind")),
            course=course,
            against=against,
            tws_weight=() if problems else of_winds,
            twa_weight=() if problems else of_angles,
            points=numbers["points"],
            most=numbers["most"],
            starts=numbers["starts"],
            seed=numbers["seed"],
            draws=numbers["draws"],
            option=words["option"],
            name=words["name"],
        )
    except BoatFileError as error:
        problems += [str(problem) for problem in error.problems]
    except ImproveError as error:
        told = [each for each in error.problems if vary and not bounds and each.startswith("vary: missing")]
        problems += [each for each in error.problems if each not in told]
    if problems or search is None:
        stop(dict.fromkeys(problems))
    return search


def _bounds(vary: Sequence[str], problems: list[str]) -> dict[str, tuple[float, float]]:
    """Keys and their bounds; what is no such thing is a problem."""
    bounds: dict[str, tuple[float, float]] = {}
    for text in vary:
        key, _, room = text.partition("=")
        try:
            least, greatest = (float(part) for part in room.split(":"))
        except ValueError:
            problems.append(f"vary = {text!r}: write KEY=LEAST:GREATEST, such as fin.keel.span_m=1.3:1.8")
            continue
        if key in bounds:
            problems.append(f"vary = {key}: is varied twice")
        bounds[key] = (least, greatest)
    return bounds


def _list(text: str | None, name: str, problems: list[str]) -> tuple[float, ...]:
    from vpp.improve_asked import winds_of
    from vpp.polar import WindGridError

    if text is None:
        return ()
    try:
        return winds_of(text, name=name)
    except WindGridError as error:
        problems += error.problems
        return ()


def _angles(text: str | None, is_course: bool, problems: list[str]) -> tuple[Angle, ...]:
    from vpp.improve_asked import angles_of
    from vpp.polar import WindGridError

    if text is None:
        return ()
    try:
        found = angles_of(text, name="twa")
    except WindGridError as error:
        problems += error.problems
        return ()
    if is_course and any(isinstance(angle, str) for angle in found):
        problems.append(f"twa = {text!r}: with --course only angles; both best VMGs are always solved")
    return found


def _course(path: Path | None, problems: list[str]) -> CourseFile | None:
    from vpp.config import BoatFileError
    from vpp.config.course_file import load_course

    if path is None:
        return None
    try:
        return load_course(path)
    except BoatFileError as error:
        problems += [str(problem) for problem in error.problems]
        return None


# --- text ---------------------------------------------------------------------------------------------------


def _text(found: Improvement, written: Written) -> str:
    parts = [found.source.line, f"Aim: {found.aim}", _numbers_table(found)]
    parts.append(_laps_table(found) if found.laps else _gains_table(found))
    parts += [_limits_table(found)] if found.held else []
    parts += [_front_table(found)] if found.front else []
    parts.append(_path_table(found))
    parts.append("\n".join(wrapped(sentence, units=_UNITS) for sentence in found.in_words()))
    if found.is_better:
        parts.append(f"An option for {found.source.file}:\n\n{found.option_toml().rstrip()}")
    return "\n\n".join([*parts, closing(written)])


def _numbers_table(found: Improvement) -> str:
    from vpp.results.variables import show_number

    rows = [
        (
            key.name,
            key.show(key.built),
            key.show(key.improved),
            key.unit,
            f"{key.least:g} to {key.greatest:g}",
            show_number(key.worth_percent, decimals=3),
            key.at,
        )
        for key in found.keys
    ]
    title = "What was varied; worth: what the improved boat loses, %, when this alone goes back"
    return f"{title}\n{table(('number', 'built', 'improved', 'unit', 'bounds', 'worth %', ''), rows)}"


def _gains_table(found: Improvement) -> str:
    from vpp.results.variables import show_number

    several = any(each.built_sail_set or each.improved_sail_set for each in found.gains)
    two_ways = (
        len({each.built_branch for each in found.gains} | {each.improved_branch for each in found.gains}) > 1
    )
    rows = []
    for each in found.gains[:_MOST_ROWS]:
        how = []
        if two_ways:
            how.append(_change(each.built_branch, each.improved_branch))
        if several:
            how.append(_change(each.built_sail_set, each.improved_sail_set))
        rows.append(
            (
                each.where,
                f"{each.tws_kn:g}",
                show_number(each.built_kn, decimals=3),
                show_number(each.improved_kn, decimals=3),
                show_number(each.gain_kn, decimals=3, signed=True),
                show_number(each.gain_percent, decimals=2, signed=True),
                *how,
            )
        )
    header = ["where", "TWS kn", "built kn", "improved kn", "gain kn", "%"]
    header += ["carried"] * two_ways + ["sails"] * several
    title = "Speed, or speed made good where the best VMG is sailed, solved from afar"
    if len(found.gains) > _MOST_ROWS:
        title += f"; the first {_MOST_ROWS} of {len(found.gains)} conditions"
    return f"{title}\n{table(header, rows)}"


def _change(before: str, after: str) -> str:
    return before if before == after else f"{before or 'none'} to {after or 'none'}"


def _laps_table(found: Improvement) -> str:
    from vpp.course_times import say_time
    from vpp.results.variables import show_number

    rows = [
        (
            f"{lap.tws_kn:.4g}" if lap.tws_kn == lap.tws_kn else "changing",
            show_number(100.0 * lap.weight, decimals=1),
            say_time(lap.built_s),
            say_time(lap.improved_s),
            show_number(lap.improved_s - lap.built_s, decimals=1, signed=True),
            show_number(100.0 * (lap.improved_s / lap.built_s - 1.0), decimals=2, signed=True),
        )
        for lap in found.laps
    ]
    header = ("TWS kn", "weight %", "built", "improved", "s more", "%")
    return f"Time round the course, negative where faster\n{table(header, rows, left=0)}"


def _limits_table(found: Improvement) -> str:
    from vpp.results.variables import show_number

    rows = [
        (
            each.name,
            each.kind,
            f"{each.side} {each.bound:.6g} {each.unit}".rstrip(),
            f"{each.step:.4g} {each.unit}".rstrip(),
            show_number(each.step_gain_percent, decimals=4, signed=True),
            show_number(each.gain_percent_per_unit, decimals=4, signed=True),
        )
        for each in found.held
    ]
    header = ("held by", "which is a", "limit", "step", "% for a step", "% a unit")
    return f"What holds it back, and what more room buys to first order\n{table(header, rows, left=3)}"


def _front_table(found: Improvement) -> str:
    rows = [
        (
            str(number),
            found.show(point),
            found.show(point, second=True),
            *(key.show(value) for key, value in zip(found.keys, point.values, strict=True)),
        )
        for number, point in enumerate(found.front, start=1)
    ]
    header = (
        "point",
        f"aim {found.aim_unit}",
        f"against {found.against_unit}",
        *(f"[{number}]" for number in range(1, len(found.keys) + 1)),
    )
    names = ", ".join(f"[{number}] {key.name}" for number, key in enumerate(found.keys, start=1))
    title = f"Front: {found.aim} against {found.against}; what is in % is that much better than built"
    return f"{wrapped(title)}\n{table(header, rows)}\n{wrapped(names)}"


def _path_table(found: Improvement) -> str:
    from vpp.improve_result import REFUSED
    from vpp.results.variables import show_number

    steps = [step for step in found.steps if step.search.startswith("start")]
    rows = [
        (
            str(step.number),
            step.search,
            step.how,
            step.outcome,
            show_number(step.gain_percent, decimals=4),
            *(key.show(value) for key, value in zip(found.keys, step.values, strict=True)),
        )
        for step in steps[-_MOST_ROWS:]
    ]
    header = ("boat", "search", "how", "", "gain %", *(f"[{n}]" for n in range(1, len(found.keys) + 1)))
    told = [f"The path; [n] are the numbers above in their order\n{table(header, rows, left=4)}"]
    reasons = dict.fromkeys(step.reason for step in found.steps if step.outcome == REFUSED)
    told += [wrapped(f"Refused: {reason}") for reason in reasons]
    return "\n".join(told)


# --- data and files -----------------------------------------------------------------------------------------


def _json(found: Improvement, written: Written) -> str:
    from vpp.results.files import json_text, records

    return json_text(
        {
            **found.about(names_of(written)),
            "summary": list(found.in_words()),
            **{name: records(frame) for name, frame in found.tables().items()},
            "option_toml": found.option_toml() if found.is_better else None,
        }
    )


def _csv(found: Improvement, written: Written) -> str:
    from vpp.results.files import csv_text

    return csv_text(found.tables()["numbers"])


def _write(found: Improvement, folder: Path, *, figures: bool) -> Written:
    drawn: dict[str, Figure] = {}
    if figures:
        from vpp.improve_plot import front_figure, path_figure

        made: dict[str, Any] = {"path": path_figure(found)}
        made |= {"front": front_figure(found)} if len(found.front) > 1 else {}
        drawn = {f"{name}.{kind}": figure for name, figure in made.items() for kind in ("png", "svg")}
    try:
        return found.write(folder, figures=drawn)
    except OSError as error:
        stop([f"out = {str(folder)!r}: cannot be written ({error.strerror})"])


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}

"""`vpp stability`: righting moments, afloat and on foils."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from vpp.cli.console import SOME_FAILED, closing, print_result, stop, table
from vpp.cli.options import BoatPath, Format, NoFigures, Printed, folder_problems

if TYPE_CHECKING:
    import numpy as np
    from matplotlib.figure import Figure

    from vpp.results.files import Written
    from vpp.stability import Contribution, Curve, Floats, Stability

_GAP = "-"
_TITLES = {
    ("afloat", "heel"): "Afloat at rest, against heel",
    ("afloat", "cant"): "Afloat at rest, against cant",
    ("foil-borne", "heel"): "On foils, against heel",
    ("foil-borne", "cant"): "On foils, against cant",
}
_READ = (
    "Moments in kN m, positive where they right the boat, rounded so that they add up. A vertical force has\n"
    "the same moment about a line at any height, a side force has not; all of either kind together have."
)


def stability(
    boat: BoatPath,
    option: Annotated[
        str, typer.Option("--option", metavar="NAME", help="Option of the boat file.")
    ] = "base",
    crew_arm: Annotated[
        float | None,
        typer.Option("--crew-arm", metavar="M", help="Crew to windward, m.", show_default="the greatest"),
    ] = None,
    heel: Annotated[
        float | None,
        typer.Option("--heel", metavar="DEG", help="Heel of the curves against cant, deg.", show_default="0"),
    ] = None,
    cant: Annotated[
        float | None,
        typer.Option(
            "--cant", metavar="DEG", help="Cant of the curves against heel, deg.", show_default="the greatest"
        ),
    ] = None,
    speed: Annotated[
        float | None,
        typer.Option("--speed", metavar="KN", help="Boat speed on foils, kn.", show_default="25"),
    ] = None,
    ride_height: Annotated[
        float | None,
        typer.Option(
            "--ride-height",
            metavar="M",
            help="Height of the drawn water line over the water on foils, m.",
            show_default="keel line 0.35 m clear",
        ),
    ] = None,
    ce_height: Annotated[
        float | None,
        typer.Option(
            "--ce-height",
            metavar="M",
            help="Height of the sails' force over the drawn water line, along the mast, m.",
            show_default="the sails' centroids",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="DIR", help="Folder for the files.", show_default="no files"),
    ] = None,
    no_figures: NoFigures = False,
    printed: Printed = Format.TEXT,
) -> None:
    """Righting moment against heel and cant, and what it is made of.

    Afloat at rest; for a boat with canting foils also on them.

    Example: vpp stability foiling_monohull.toml --speed 25 --cant 52 -o stability
    """
    from vpp.config import BoatFileError, load
    from vpp.stability import StabilityInputError
    from vpp.stability import stability as find_stability

    if problems := folder_problems(out):
        stop(problems)
    try:
        found = find_stability(
            load(boat),
            option=option,
            crew_arm_m=crew_arm,
            heel_deg=heel,
            cant_deg=cant,
            speed_kn=speed,
            ride_height_m=ride_height,
            ce_height_m=ce_height,
        )
    except (BoatFileError, StabilityInputError) as error:
        stop(str(problem) for problem in error.problems)
    written = None if out is None else _write(found, out, figures=not no_figures)
    if printed is Format.TEXT:
        typer.echo(_text(found, written))
    elif written is None:
        typer.echo(_PRINT[printed](found), nl=False)
    else:
        print_result(_PRINT[printed](found), written, is_data=True)
    _finish(found, tells_reasons=printed is not Format.TEXT)


def _finish(found: Stability, *, tells_reasons: bool) -> None:
    """End well, or with the code for missing results: the text has their reasons, data leaves them to
    stderr.
    """
    missing = sum(int((curve.reason != "").sum()) for curve in found.curves)
    if missing:
        count = sum(len(curve.heel) for curve in found.curves)
        typer.echo(f"{missing} of {count} conditions have no result", err=True)
        for curve in found.curves if tells_reasons else ():
            for line in _reasons(curve):
                typer.echo(f"  {_TITLES[curve.state, curve.varied]}: {line}", err=True)
        raise typer.Exit(SOME_FAILED)


# --- text ---------------------------------------------------------------------------------------------------


def _text(found: Stability, written: Written | None) -> str:
    from vpp.results.files import CAUTION
    from vpp.stability import STABILITY_CAUTION

    parts = [f"{found.source.line}\n{found.option}: righting moment", _fixed(found), _READ]
    for curve in found.curves:
        parts += [_TITLES[curve.state, curve.varied] + _held(found, curve), _curve(curve)]
        parts += ["\n".join(notes)] if (notes := [*_reasons(curve), *_remarks(curve)]) else []
    parts.append(STABILITY_CAUTION)
    return "\n\n".join([*parts, CAUTION if written is None else closing(written)])


def _fixed(found: Stability) -> str:
    """What holds for all curves, a line each."""
    from vpp.results.variables import KNOT

    settings, boat = found.settings, found.boat
    lines = [f"crew {settings.crew_arm:.2f} m to windward"]
    if len(found.curves) > 1:
        clear = settings.ride_height - boat.hull.canoe_draught
        lines += [
            f"on foils: {settings.boat_speed / KNOT:.1f} kn, level fore and aft, drawn water line "
            f"{settings.ride_height:.2f} m over the water (keel line {clear:+.2f} m)",
            "rudder amidships, yaw left out",
            f"sails' force {settings.effort_height:.2f} m over the drawn water line, along the mast",
        ]
    return "\n".join(lines)


def _held(found: Stability, curve: Curve) -> str:
    from vpp.results.variables import DEGREE

    if len(found.curves) == 1:
        return ""
    if curve.varied == "heel":
        return f", at {found.settings.cant / DEGREE:.1f} deg of cant"
    return f", at {found.settings.heel / DEGREE:.1f} deg of heel"


def _curve(curve: Curve) -> str:
    from vpp.results.variables import DEGREE

    shown = _shown(len(curve.along))
    header = (f"{curve.varied}, deg", *(f"{angle / DEGREE:.1f}" for angle in curve.along[shown]))
    return table(header, [(name, *cells) for name, cells in _rows(curve, shown)])


def _rows(curve: Curve, shown: list[int]) -> Iterator[tuple[str, list[str]]]:
    from vpp.results.variables import DEGREE

    def plain(values: Floats, decimals: int, factor: float = 1.0) -> list[str]:
        return [_number(float(values[i]) * factor, decimals) for i in shown]

    has_side = bool(curve.of("side"))
    if has_side:
        yield "VERTICAL FORCES, about any height", [""] * len(shown)
    yield from _added(curve.of("vertical"), curve.heights["water plane"], shown, "righting moment")
    if not has_side:
        yield "righting arm GZ, m", plain(curve.righting_arm, 3)
        if "pitch" in curve.unknowns:
            yield "rise of the drawn water line, m", plain(curve.unknowns["ride_height"], 3)
            yield "pitch, bow up, deg", plain(curve.unknowns["pitch"], 2, 1.0 / DEGREE)
        return
    for reference, height in curve.heights.items():
        yield f"SIDE FORCES, about the {reference}", [""] * len(shown)
        yield from _added(curve.of("side"), height, shown, "heeling moment")
    yield "HEIGHTS over the water, m", [""] * len(shown)
    for reference, height in curve.heights.items():
        yield f"  {reference}", plain(height, 2)
    yield "  sails' force", plain(curve.effort_height, 2)
    yield "  water's side force", plain(curve.water_height, 2)
    yield "COUPLE of the side forces", [""] * len(shown)
    yield "  side force of the sails, kN", plain(curve.side_force, 2, 1e-3)
    yield "  lever, m", plain(curve.lever, 2)
    yield "  side force times lever, kN m", plain(curve.side_force * curve.lever, 1, 1e-3)
    yield "HELD BY", [""] * len(shown)
    for name in ("flap", "elevator", "leeway"):
        yield f"  {name}, deg", plain(curve.unknowns[name], 2, 1.0 / DEGREE)


def _added(
    items: tuple[Contribution, ...], height: np.ndarray[Any, Any], shown: list[int], total: str
) -> Iterator[tuple[str, list[str]]]:
    """Moments in kN m that add up to the last row; what is nothing throughout is left out."""
    import numpy as np

    from vpp.results.rounding import add_up

    moments = np.array([item.about(height) for item in items])[:, shown] * 1e-3
    kept = [row for row in range(len(items)) if np.nanmax(np.abs(moments[row]), initial=0.0) >= 0.05]
    columns = [
        (_GAP,) * (len(kept) + 1) if np.isnan(column).any() else add_up(column[kept], decimals=1)
        for column in moments.T
    ]
    for place, row in enumerate(kept):
        yield f"  {items[row].name}", [column[place] for column in columns]
    yield f"  {total}", [column[-1] for column in columns]


def _shown(count: int) -> list[int]:
    """Every other angle, and the last, of a curve that has many."""
    return list(range(count)) if count < 11 else sorted({*range(0, count, 2), count - 1})


def _number(value: float, decimals: int) -> str:
    return _GAP if value != value else f"{round(value, decimals) + 0.0:.{decimals}f}"


def _reasons(curve: Curve) -> list[str]:
    """Why conditions have no result, a line for each run of angles with one reason."""
    return _told(curve, curve.reason, "no result")


def _remarks(curve: Curve) -> list[str]:
    return _told(curve, curve.remark, "remark")


def _told(curve: Curve, words: np.ndarray[Any, Any], what: str) -> list[str]:
    from vpp.results.variables import DEGREE

    angles = curve.along / DEGREE
    starts = [i for i, word in enumerate(words) if word and (i == 0 or word != words[i - 1])]
    told = []
    for i in starts:
        last = i
        while last + 1 < len(words) and words[last + 1] == words[i]:
            last += 1
        span = f"{angles[i]:.1f}" if last == i else f"{angles[i]:.1f} to {angles[last]:.1f}"
        told.append(f"{what} at {curve.varied} {span} deg: {words[i]}")
    return told


# --- data and files -----------------------------------------------------------------------------------------


def _about(found: Stability) -> dict[str, Any]:
    from vpp.results.files import origin
    from vpp.results.variables import DEGREE, KNOT

    settings = found.settings
    said = {
        "crew_arm_m": settings.crew_arm,
        "heel_deg": settings.heel / DEGREE,
        "cant_deg": settings.cant / DEGREE,
        "speed_kn": settings.boat_speed / KNOT,
        "ride_height_m": settings.ride_height,
        "ce_height_m": settings.effort_height,
    }
    return {
        **origin(found.source),
        "option": found.option,
        "settings": {name: None if value != value else round(value, 9) for name, value in said.items()},
    }


def _caution() -> str:
    from vpp.results.files import CAUTION
    from vpp.stability import STABILITY_CAUTION

    return f"{STABILITY_CAUTION} {CAUTION}"


def _json(found: Stability) -> str:
    from vpp.results.files import json_text, records

    return json_text(
        {
            **_about(found),
            "conditions": records(found.state_frame()),
            "moments": records(found.to_frame()),
            "caution": _caution(),
        }
    )


def _csv(found: Stability) -> str:
    from vpp.results.files import csv_text

    return csv_text(found.to_frame())


def _write(found: Stability, folder: Path, *, figures: bool) -> Written:
    from vpp.results.files import ABOUT, csv_text, json_text, write_folder

    texts = {"stability.csv": _csv(found), "conditions.csv": csv_text(found.state_frame())}
    drawn: dict[str, Figure] = {}
    if figures:
        from vpp.plots import stability_figure

        drawn = {
            f"stability_{varied}.{kind}": figure
            for varied in dict.fromkeys(curve.varied for curve in found.curves)
            for figure in (stability_figure(found, varied=varied),)
            for kind in ("png", "svg")
        }
    about = {**_about(found), "files": [*texts, ABOUT, *drawn], "caution": _caution()}
    try:
        return write_folder(folder, texts={**texts, ABOUT: json_text(about)}, figures=drawn)
    except OSError as error:
        stop([f"out = {str(folder)!r}: cannot be written ({error.strerror})"])


_PRINT = {Format.JSON: _json, Format.CSV: _csv}

"""`vpp card`: targets and polar of a boat on one page, to be printed or shown on a tablet."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vpp.cli.console import SOME_FAILED, closing, print_result, stop, table
from vpp.cli.options import (
    BaseOptions,
    BoatPath,
    Format,
    Out,
    PolarFolder,
    Printed,
    Processes,
    Waves,
    process_count,
)
from vpp.cli.target import (
    DECIMALS,
    TwaGrid,
    TwsGrid,
    about_targets,
    each_texts,
    find_targets,
    read_input,
)
from vpp.cli.writing import names_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from vpp.card import Card
    from vpp.results.files import Written
    from vpp.targets_between import Targets


class Page(StrEnum):
    """Pages that a card may have."""

    A5 = "a5"
    A4 = "a4"


class Ground(StrEnum):
    """Grounds that a card may have."""

    DAY = "day"
    NIGHT = "night"


def _page(text: str) -> Page:
    if text.lower() not in tuple(Page):
        stop([f"page = {text!r}: not a page; allowed: {', '.join(Page)}"])
    return Page(text.lower())


def _ground(text: str) -> Ground:
    if text not in tuple(Ground):
        stop([f"ground = {text!r}: not a ground; allowed: {', '.join(Ground)}"])
    return Ground(text)


def card(
    boat: BoatPath,
    option: BaseOptions = None,
    page: Annotated[
        list[Page] | None,
        typer.Option(
            "--page", metavar="|".join(Page), parser=_page, help="Page; repeat for more.", show_default="all"
        ),
    ] = None,
    ground: Annotated[
        list[Ground] | None,
        typer.Option(
            "--ground",
            metavar="|".join(Ground),
            parser=_ground,
            help="Black on white, or dim red-orange on black; repeat for more.",
            show_default="all",
        ),
    ] = None,
    polar: PolarFolder = None,
    tws_grid: TwsGrid = None,
    twa_grid: TwaGrid = None,
    sea: Waves = None,
    out: Out = Path("out/card"),
    printed: Printed = Format.TEXT,
    processes: Processes = None,
) -> None:
    """One page with targets by wind and a polar, as PDF and PNG.

    Targets and polar are those of the first --option; others are compared with it.

    Example: vpp card keelboat.toml --polar out/polar -o card
    """
    from vpp.card import CardError, card_of

    names = list(dict.fromkeys(option or ("base",)))
    boat_file, grid = read_input(
        boat, names, polar=polar, tws_grid=tws_grid, twa_grid=twa_grid, sea=sea, out=out
    )
    found = find_targets(
        boat_file, names, grid=grid, polar=polar, processes=process_count(processes), around=False
    )
    try:
        content = card_of(found)
    except CardError as error:
        stop([str(error)])
    written = _write(found, content, tuple(page or Page), tuple(ground or Ground), out)
    print_result(_PRINT[printed](found, content, written), written, is_data=printed is not Format.TEXT)
    lacking = [each for pair in content.targets for each in pair if each.reason]
    for each in lacking:
        typer.echo(f"No target for {each.option} {each.aim} in {each.tws_kn:g} kn: {each.reason}", err=True)
    if lacking:
        raise typer.Exit(SOME_FAILED)


def _text(found: Targets, content: Card, written: Written) -> str:
    from vpp.card import OPTIONS
    from vpp.results.frames import EXTENDED_MARK

    head = f"{content.name}, {content.option}: up and down"
    rows = [content.row(place) for place in range(len(content.tws_kn))]
    # a mark hangs out, so that digits stand below each other
    marked = [any(row[column].endswith(EXTENDED_MARK) for row in rows) for column in range(len(rows[0]))]
    lines = [
        [
            cell + " " if hangs and not cell.endswith(EXTENDED_MARK) else cell
            for cell, hangs in zip(line, marked, strict=True)
        ]
        for line in (content.header, *rows)
    ]
    parts = [content.source.line, f"{head}\n{table(lines[0], lines[1:], left=0)}"]
    if content.chart is not None:
        signs = [
            [course, *(cell.sign + ("*" if cell.leads else "") or "-" for cell in row)]
            for course, row in zip(content.chart.courses, content.chart.cells, strict=True)
        ]
        key = ", ".join(f"{sign} {name}" for sign, name in content.chart.key.items())
        header = ("TWA", *(f"{wind:g}" for wind in content.tws_kn))
        told = f"Best {content.chart.kind} by TWS, kn: {key}; * leads by 1 % or more"
        if content.chart.kind == OPTIONS:
            told += ", two letters or = for more: within 1 %"
        parts.append(f"{told}\n{table(header, signs)}")
    parts += ["\n".join(content.notes)] if content.notes else []
    return "\n\n".join([*parts, closing(written)])


def _json(found: Targets, content: Card, written: Written) -> str:
    from vpp.results.files import json_text, records

    frame = found.to_frame().round(DECIMALS)
    return json_text({**about_targets(found, names_of(written)), "rows": records(frame)})


def _csv(found: Targets, content: Card, written: Written) -> str:
    from vpp.results.files import csv_text

    return csv_text(found.to_frame().round(DECIMALS))


def _write(
    found: Targets, content: Card, pages: tuple[Page, ...], grounds: tuple[Ground, ...], folder: Path
) -> Written:
    from vpp.card_plot import card_figure
    from vpp.course import POLAR
    from vpp.results.files import ABOUT, csv_text, json_text, write_folder

    drawn: dict[str, Figure] = {}
    for page in pages:
        for ground in grounds:
            figure = card_figure(content, page=page.value, ground=ground.value)
            drawn |= {f"card_{page}_{ground}.{kind}": figure for kind in ("pdf", "png")}
    texts = {
        POLAR: csv_text(found.frame),
        **each_texts(found),
        "targets.csv": csv_text(found.to_frame().round(DECIMALS)),
    }
    about = json_text(about_targets(found, (*texts, ABOUT, *drawn)))
    try:
        return write_folder(folder, texts={**texts, ABOUT: about}, figures=drawn)
    except OSError as error:
        stop([f"out = {str(folder)!r}: cannot be written ({error.strerror})"])


_PRINT = {Format.TEXT: _text, Format.JSON: _json, Format.CSV: _csv}

"""Writing a polar in the formats that are asked for, all of them or none."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from vpp.exchange.netcdf import LIBRARIES as FOR_NETCDF
from vpp.exchange.netcdf import NETCDF, write_netcdf
from vpp.exchange.parquet import LIBRARIES as FOR_PARQUET
from vpp.exchange.parquet import PARQUET, write_parquet
from vpp.exchange.signalk import SIGNALK, document
from vpp.exchange.signalk_checks import differences, problems
from vpp.exchange.table import ExportError, PolarTable
from vpp.exchange.tidy_csv import CSV, DESCRIPTOR, descriptor, table_text
from vpp.libraries import MissingLibrary, library
from vpp.results.files import ABOUT, Written, about, json_text, write_folder
from vpp.solved import AIMS

if TYPE_CHECKING:
    from vpp.polar import Polar

FORMATS = ("csv", "parquet", "netcdf", "signalk")
"""The formats by name, the first standard."""

_LIBRARIES = {"parquet": FOR_PARQUET, "netcdf": FOR_NETCDF}


def check_formats(formats: Sequence[str]) -> None:
    """Raises ExportError for a format that does not exist, and MissingLibrary with every format whose
    libraries are not installed.
    """
    if unknown := [name for name in formats if name not in FORMATS]:
        raise ExportError(f"{unknown[0]!r}: not a format; there are {', '.join(FORMATS)}")
    lacking = []
    for name in dict.fromkeys(formats):
        for needed in _LIBRARIES.get(name, ()):
            try:
                library(needed)
            except MissingLibrary as error:
                lacking += [f"{name}: {problem}" for problem in error.problems]
    if lacking:
        raise MissingLibrary(tuple(dict.fromkeys(lacking)))


def export(polar: Polar | PolarTable, folder: str | Path, *, formats: Sequence[str] = FORMATS[:1]) -> Written:
    """Write the conditions of a polar that have a result into a folder, in formats out of `FORMATS`, with an
    `about.json` that lists the files. Files of an earlier export that are not written again are removed.

    All files appear or none. Raises NothingToExport where nothing has a result, ExportError for a format that
    does not exist; MissingLibrary where an extra is not installed; OSError.
    """
    check_formats(formats)
    table = polar if isinstance(polar, PolarTable) else PolarTable.from_polar(polar)
    texts: dict[str, str] = {}
    writers: dict[str, Callable[[Path], object]] = {}
    if "csv" in formats:
        texts[CSV] = table_text(table)
        texts[DESCRIPTOR] = json_text(descriptor(table, texts[CSV]))
    if "signalk" in formats:
        texts[SIGNALK] = json_text(_checked_document(table))
    if "parquet" in formats:
        writers[PARQUET] = lambda path: write_parquet(table, path)
    if "netcdf" in formats:
        writers[NETCDF] = lambda path: write_netcdf(table, path)
    texts[ABOUT] = json_text(about_export(table, (*texts, *writers, ABOUT)))
    return write_folder(Path(folder), texts=texts, figures={}, writers=writers)


def about_export(table: PolarTable, files: Sequence[str]) -> dict[str, Any]:
    """What `about.json` says of an export."""
    told = about(
        table.source,
        options=table.options,
        tws_kn=table.tws_kn,
        twa_deg=table.twa_deg,
        aims=AIMS,
        statuses=table.statuses,
        remarks=table.remarks,
        files=files,
    )
    own = table.about()
    return {**told, **{key: own[key] for key in ("solved_on", "exported", "left_out", "left_out_text")}}


def _checked_document(table: PolarTable) -> dict[str, Any]:
    """The Signal K document. Raises ExportError where it fails the checks, so that none that is wrong is
    written.
    """
    found = document(table)
    if wrong := (*problems(found), *differences(found, table)):
        raise ExportError(f"the Signal K document would be wrong: {wrong[0]}")
    return found

"""Whether what is said of a hull, in its table and in its files, makes a hull."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path as FilePath
from typing import Any

from vpp import hulls
from vpp.boat import Boat, FormedHull, Hull
from vpp.config import build
from vpp.config.columns import ColumnFile
from vpp.config.errors import Problem
from vpp.config.files import Files
from vpp.config.hull_files import read_resistance, read_righting_arms, read_sections
from vpp.config.locate import Path
from vpp.config.schema import FREE_MODELS, BoatDocument, HullTable, properties_of
from vpp.config.text import allowed_text, clause
from vpp.config.validate import Finding
from vpp.physics import hull_sections
from vpp.physics.hull import EFFECTIVE_DRAUGHT_RANGES
from vpp.physics.section_shape import SectionShape
from vpp.seaway import pitching_hull

# The lengths of a hull's table may differ from those of its sections by this share.
SECTION_TOLERANCE = 0.02
# Height over length of the steepest wave that stands: Stokes, Michell 1893 (1/7, from memory).
STEEPEST = 1.0 / 7.0
_ROUNDING = 1e-9


def _kinds(files: Files) -> Mapping[str, tuple[dict[str, Any], Callable[[FilePath, str], ColumnFile]]]:
    """By the key that names it: where files of a kind are kept, and what reads them."""
    return {
        "resistance_file": (files.resistance, read_resistance),
        "gz_file": (files.righting_arms, read_righting_arms),
        "stability_section_file": (files.sections, read_sections),
        "section_file": (files.sections, read_sections),
    }


def hull_file_findings(files: Files, folder: FilePath, hull: HullTable) -> list[Finding]:
    """Read the files that a hull's table names; why a key names one that cannot be read."""
    found: list[Finding] = []
    for key, (kept, read) in _kinds(files).items():
        name = getattr(hull, key)
        if name is None:
            continue
        if name not in kept:
            kept[name] = read(folder, name)
        if kept[name].unreadable:
            found.append(Finding(("hull", key), kept[name].unreadable))
    return found


def hull_file_problems(files: Files, hull: HullTable) -> list[Problem]:
    """What is wrong inside the files that a hull's table names."""
    named = ((kept, getattr(hull, key)) for key, (kept, _) in _kinds(files).items())
    return [problem for kept, name in named if name is not None for problem in kept[name].problems]


def form_findings(hull: HullTable, files: Files) -> list[Finding]:
    """Whether the sections of a hull exist, and are those of its table."""
    if hull.model not in FREE_MODELS:
        named = hull.stability_section_file
        return [] if named is None else _length_findings(hull, named, files.sections[named].shape)
    try:
        shape = build.sections_of(hull, files)
    except ValueError as error:
        return [Finding(("hull", "deadrise_deg"), clause(error))]
    if hull.model == "planing_prism":
        return _bottom_findings(hull)
    if shape is None or hull.section_file is None:
        return []
    return _length_findings(hull, hull.section_file, shape)


def _length_findings(hull: HullTable, file: str, shape: SectionShape) -> list[Finding]:
    form = hull_sections.drawn_form(shape=shape)
    lengths = {
        "waterline_length_m": form.waterline_forward_x - form.waterline_aft_x,
        "waterline_beam_m": form.waterline_beam,
        "canoe_draught_m": form.draught,
    }
    return [
        Finding(("hull", key), f"the sections in {file} have {value:.4g} m", f"{value:.4g} m")
        for key, value in lengths.items()
        if abs(getattr(hull, key) - value) > SECTION_TOLERANCE * value
    ]


def _bottom_findings(hull: HullTable) -> list[Finding]:
    """Whether a planing bottom is wet to its chines at rest, and smooth, as its law has it."""
    found: list[Finding] = []
    if hull.deadrise_deg is not None:
        least = hull.waterline_beam_m * math.tan(math.radians(hull.deadrise_deg)) / (2.0 * math.pi)
        # of the run's own line, at the middle of the hull
        angle = hull_sections.run_angle(
            waterline_length=hull.waterline_length_m, transom_rise=hull.transom_rise_m
        )
        lost = hull.transom_rise_m + 0.5 * hull.waterline_length_m * math.sin(angle)
        if hull.canoe_draught_m - lost <= 1.05 * least:
            wrong = f"the chines, {hull.waterline_beam_m:g} m apart, are dry at rest"
            found.append(Finding(("hull", "canoe_draught_m"), wrong, f"above {lost + 1.05 * least:.3f} m"))
    if hull.transom_rise_m >= hull.canoe_draught_m:
        wrong = "the keel line leaves the water ahead of the transom: the water line is shorter than given"
        found.append(Finding(("hull", "transom_rise_m"), wrong, f"below {hull.canoe_draught_m:g} m"))
    if hull.roughness_mm > 0.0:
        wrong = "the planing law is that of a smooth bottom"
        found.append(Finding(("hull", "roughness_mm"), wrong, "0 mm"))
    return found


def hull_findings(boat: BoatDocument) -> list[Finding]:
    """What does not go together in a hull's table, and between it and the rest of the boat."""
    hull = boat.hull
    found = [*_shape_findings(hull), *_growth_findings(hull)]
    if hull.model in ("systematic_series", "table") and hull.form_factor != 0.0:
        wrong = f'with model = "{hull.model}" the resistance contains the form drag'
        found.append(Finding(("hull", "form_factor"), wrong, "0"))
    if hull.hull_spacing_m is not None and hull.hull_spacing_m <= hull.waterline_beam_m:
        wrong = f"the two hulls overlap: each is {hull.waterline_beam_m:g} m wide"
        found.append(Finding(("hull", "hull_spacing_m"), wrong, f"above {hull.waterline_beam_m:g} m"))
    tabs = [index for index, fin in enumerate(boat.fin) if fin.tab_chord_percent > 0.0]
    found += [
        Finding(("fin", index, "tab_chord_percent"), "there is already a fin with a trim tab", "0 %")
        for index in tabs[1:]
    ]
    if hull.model not in FREE_MODELS:
        found += [
            Finding(
                ("fin", index, "offset_y_m"), "a fin off the centreline needs a hull that may heave", "0 m"
            )
            for index, fin in enumerate(boat.fin)
            if fin.offset_y_m != 0.0
        ]
    return found


def _shape_findings(hull: HullTable) -> list[Finding]:
    """A slender hull is given by two exponents or by a file of sections."""
    if hull.model != "thin_ship":
        return []
    exponents = ("waterline_exponent", "section_exponent")
    given: list[Path] = [("hull", key) for key in exponents if getattr(hull, key) is not None]
    if hull.section_file is not None:
        return [Finding(path, "stands beside section_file", "", "give one or the other") for path in given]
    what = {key: properties_of(HullTable)[key]["description"] for key in exponents}
    return _missing(hull, what, "or give section_file")


def _growth_findings(hull: HullTable) -> list[Finding]:
    """Keys that the tests of the series do not know and that its model needs all the same."""
    if hull.model != "systematic_series":
        return []
    what = {
        "prismatic_coefficient": properties_of(HullTable)["prismatic_coefficient"]["description"],
        "heel_resistance_20deg_percent": "growth of residuary resistance from upright to 20 deg of heel",
    }
    return _missing(hull, what)


def _missing(hull: HullTable, what: Mapping[str, str], hint: str = "") -> list[Finding]:
    """Those keys, by what they are, that are not given and that the hull's model needs."""
    return [
        Finding(
            ("hull", key),
            f'missing: {text}; needed with model = "{hull.model}"',
            allowed_text(key, properties_of(HullTable)[key]),
            hint,
            missing=True,
        )
        for key, text in what.items()
        if getattr(hull, key) is None
    ]


def floated_findings(boat: Boat) -> list[Finding]:
    """Whether a boat at its weight is one that its hull's tables, regressions and waves know of."""
    return [
        *_table_findings(boat),
        *_grown_twice_findings(boat),
        *_draught_findings(boat),
        *_heel_findings(boat),
        *_sea_findings(boat),
    ]


def _table_findings(boat: Boat) -> list[Finding]:
    lines = boat.hull
    if not isinstance(lines, Hull) or lines.resistance is None or not lines.resistance.displacement:
        return []
    low, high = lines.resistance.displacement[0], lines.resistance.displacement[-1]
    if low <= boat.total_mass <= high:
        return []
    wrong = f"the boat with crew weighs {boat.total_mass:.0f} kg, and {lines.resistance.file} has no such row"
    return [Finding(("hull", "resistance_file"), wrong, f"displacement_kg from {low:g} to {high:g}")]


def _grown_twice_findings(boat: Boat) -> list[Finding]:
    lines = boat.hull
    if not isinstance(lines, Hull) or lines.resistance is None or not lines.resistance.heel:
        return []
    if lines.heel_resistance_20deg == 0.0:
        return []
    wrong = f"{lines.resistance.file} has the resistance at heel already"
    return [Finding(("hull", "heel_resistance_20deg_percent"), wrong, "0 %, or leave it out")]


def _draught_findings(boat: Boat) -> list[Finding]:
    lines = boat.hull
    if not isinstance(lines, Hull) or lines.side_force_model != hulls.EFFECTIVE_DRAUGHT:
        return []
    called = {
        "canoe_draught_share": "canoe draught over draught with keel",
        "beam_draught_ratio": "water line beam over canoe draught",
        "taper_ratio": "tip over root chord of the keel",
    }
    found = []
    for name, value in hulls.draught_parameters(boat, lines).items():
        low, high = EFFECTIVE_DRAUGHT_RANGES[name]
        if not low <= value <= high:
            wrong = f"{called[name]} is {value:.3g}, which the tests of effective draught do not cover"
            hint = f'or side_force_model = "{hulls.SURFACE_IMAGE}"'
            found.append(Finding(("hull", "side_force_model"), wrong, f"{low:g} to {high:g}", hint))
    return found


def _heel_findings(boat: Boat) -> list[Finding]:
    """Tables that end before the heel that the margins allow."""
    lines = boat.hull
    if not isinstance(lines, Hull):
        return []
    ends = {}
    if lines.levers is not None:
        ends["the righting arms end"] = lines.levers.heel[-1]
    if lines.resistance is not None and lines.resistance.heel:
        ends["the table of resistance ends"] = lines.resistance.heel[-1]
    return [
        Finding(
            ("margins", "heel_deg"),
            f"{what} at {math.degrees(limit):g} deg",
            f"up to {math.degrees(limit):g} deg",
        )
        for what, limit in ends.items()
        if boat.margins.heel > limit + _ROUNDING
    ]


def _sea_findings(boat: Boat) -> list[Finding]:
    if wrong := _steepness_fault(boat):
        return [Finding(("sea", "significant_height_m"), wrong)]
    wrong = sea_fault(boat)
    return [Finding(("sea", "model"), wrong, '"flat"')] if wrong else []


def _steepness_fault(boat: Boat) -> str:
    """Why waves as high as given cannot stand; empty where they can."""
    if boat.sea.model != "given":
        return ""
    length = boat.environment.gravity * boat.sea.peak_period**2 / (2.0 * math.pi)
    if boat.sea.significant_height <= STEEPEST * length:
        return ""
    return (
        f"waves of that period are {length:.3g} m long and stand no higher than a seventh of that, "
        f"{STEEPEST * length:.2g} m"
    )


def sea_fault(boat: Boat) -> str:
    """Why nothing is known of a boat in the sea that she is in; empty where that is not so."""
    if boat.sea.is_flat:
        return ""
    if wrong := _steepness_fault(boat):
        return wrong
    if isinstance(boat.hull, FormedHull) and boat.hull.planes:
        return "no resistance in waves is known of a hull that planes"
    if isinstance(boat.hull, Hull) and math.isnan(boat.hull.prismatic_coefficient):
        return "the motions in waves need hull.prismatic_coefficient"
    try:
        pitching_hull(boat)
    except ValueError as error:
        return clause(error)
    return ""

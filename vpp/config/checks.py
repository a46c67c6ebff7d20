"""Values that are each in range but do not go together, in one table or in the whole boat."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

from vpp.boat import Boat, FormedHull
from vpp.config import build
from vpp.config.hull_forms import floated_findings, hull_findings
from vpp.config.locate import Path
from vpp.config.rule_boxes import clause_findings, part_findings, rule_findings
from vpp.config.sail_sets import sail_set_findings
from vpp.config.schema import (
    BoatDocument,
    CoefficientSailTable,
    CrewTable,
    FinTable,
    FoilTable,
    HullTable,
    MarginsTable,
    MassTable,
    RigTable,
    RuleTable,
    SailTable,
    TableModel,
    UncertaintyTable,
)
from vpp.config.sections import mast_findings, section_findings
from vpp.config.set_tables import set_findings
from vpp.config.uncertainty_tables import uncertainty_findings
from vpp.config.validate import Finding
from vpp.physics.lifting_line import stations

LEAST_DECK_GAP_M = 0.01
# how far outside the hull the weight of a hiking crew can be
HIKING_REACH_M = 1.0
LEAST_LUFF_M = 0.5
# a shorter half is no wing
LEAST_HALF_SPAN_M = 0.1
# names that the boat gives to masses of its own making
TAKEN_MASS_NAMES = ("mast", "main", "jib", "crew")


def table_findings(tables: Mapping[Path, TableModel]) -> list[Finding]:
    """What does not go together inside single tables."""
    found: list[Finding] = []
    for path, table in tables.items():
        match table:
            case HullTable():
                found += _hull_findings(path, table)
            case SailTable():
                found += _sail_findings(path, table)
            case FinTable():
                found += _fin_findings(path, table)
            case FoilTable():
                found += _foil_findings(path, table)
            case MarginsTable():
                found += _order(path, "pitch_min_deg", "pitch_max_deg", table)
            case RigTable():
                found += _order(path, "mast_base_height_m", "mast_top_height_m", table)
                found += _order(path, "mast_rotation_min_deg", "mast_rotation_max_deg", table)
            case CrewTable():
                found += _order(path, "arm_min_m", "arm_max_m", table)
                found += _crew_findings(path, table)
            case RuleTable():
                found += rule_findings(path, table)
            case UncertaintyTable():
                found += uncertainty_findings(path, table)
            case MassTable() if table.name in TAKEN_MASS_NAMES:
                found.append(
                    Finding(
                        (*path, "name"),
                        "the mass of crew, mast and sails follows from their own tables",
                        "another name",
                    )
                )
    return found + _name_findings(tables) + _foil_name_findings(tables) + clause_findings(tables)


def _name_findings(tables: Mapping[Path, TableModel]) -> list[Finding]:
    found: list[Finding] = []
    seen: set[tuple[object, str]] = set()
    for path, table in tables.items():
        given = getattr(table, "name", None)
        if given is None:
            continue
        if (path[0], given) in seen:
            found.append(
                Finding((*path, "name"), f"there is already a [[{path[0]}]] of that name", "another name")
            )
        seen.add((path[0], given))
    return found


def _order(path: Path, low: str, high: str, table: TableModel, *, strictly: bool = False) -> list[Finding]:
    least, greatest = getattr(table, low), getattr(table, high)
    if greatest > least or (greatest == least and not strictly):
        return []
    how = "must be more than" if strictly else "must not be less than"
    return [
        Finding((*path, high), f"{how} {low} = {least:g}", f"{'above' if strictly else 'from'} {least:g}")
    ]


def _crew_findings(path: Path, crew: CrewTable) -> list[Finding]:
    """Whether the place where the crew sits lies between the ends of where it may sit."""
    found: list[Finding] = []
    if crew.x_min_m is not None and crew.x_min_m > crew.x_m:
        found.append(Finding((*path, "x_min_m"), f"is more than x_m = {crew.x_m:g}", f"up to {crew.x_m:g} m"))
    if crew.x_max_m is not None and crew.x_max_m < crew.x_m:
        found.append(Finding((*path, "x_max_m"), f"is less than x_m = {crew.x_m:g}", f"from {crew.x_m:g} m"))
    return found


def _foil_name_findings(tables: Mapping[Path, TableModel]) -> list[Finding]:
    """Foils stand beside fins and masses in every list of loads and weights."""
    found: list[Finding] = []
    foils = {table.name: path for path, table in tables.items() if isinstance(table, FoilTable)}
    for path, table in tables.items():
        match table:
            case FoilTable() if table.name in TAKEN_MASS_NAMES:
                found.append(
                    Finding((*path, "name"), "is the name of another part of the boat", "another name")
                )
            case MassTable() if table.name in foils and table.name not in TAKEN_MASS_NAMES:
                found.append(
                    Finding(
                        (*path, "name"),
                        "the mass of a foil follows from its own table",
                        "another name",
                    )
                )
            case FinTable() if table.name in foils:
                found.append(
                    Finding((*path, "name"), "there is already a [[foil]] of that name", "another name")
                )
    return found


def _fin_findings(path: Path, fin: FinTable) -> list[Finding]:
    """Whether a trim tab has a chord, and stands on a fin that does not steer."""
    found = _order(path, "tab_min_deg", "tab_max_deg", fin)
    if (fin.tab_min_deg, fin.tab_max_deg) != (0.0, 0.0) and fin.tab_chord_percent == 0.0:
        found.append(Finding((*path, "tab_chord_percent"), "the tab that turns has no chord", "above 0 %"))
    if fin.kind == "rudder" and fin.tab_chord_percent > 0.0:
        found.append(Finding((*path, "tab_chord_percent"), "a rudder turns as a whole", "0 %"))
    return found


def _foil_findings(path: Path, foil: FoilTable) -> list[Finding]:
    found: list[Finding] = []
    spans = {key: getattr(foil, key) for key in ("outboard_span_m", "inboard_span_m")}
    if not any(spans.values()):
        found.append(
            Finding(
                (*path, "outboard_span_m"),
                "neither half of the wing has a span",
                f"from {LEAST_HALF_SPAN_M:g} m, here or in inboard_span_m",
            )
        )
    for key, span in spans.items():
        if 0.0 < span < LEAST_HALF_SPAN_M:
            found.append(
                Finding(
                    (*path, key),
                    "is too short for a wing",
                    f"0 for no such half, or from {LEAST_HALF_SPAN_M:g} m",
                )
            )
    for part in ("arm", "wing"):
        root, tip = (getattr(foil, f"{part}_{end}_chord_m") for end in ("root", "tip"))
        if tip > root:
            found.append(
                Finding(
                    (*path, f"{part}_tip_chord_m"),
                    f"is more than {part}_root_chord_m = {root:g}",
                    f"up to {root:g} m",
                )
            )
    found += _order(path, "flap_min_deg", "flap_max_deg", foil)
    if foil.kind == "rudder":
        return found + _rudder_foil_findings(path, foil)
    for low, high in (("cant_min_deg", "cant_max_deg"), ("cant_max_deg", "raised_cant_deg")):
        if getattr(foil, low) is not None and getattr(foil, high) is not None:
            found += _order(path, low, high, foil)
    return found


def _rudder_foil_findings(path: Path, foil: FoilTable) -> list[Finding]:
    """A rudder foil is on the centreline and the same on both sides, for it serves both tacks."""
    found: list[Finding] = []
    if foil.attachment_y_m != 0.0:
        found.append(Finding((*path, "attachment_y_m"), "a rudder foil stands on the centreline", "0 m"))
    for part in ("span_m", "dihedral_deg"):
        outboard = getattr(foil, f"outboard_{part}")
        if getattr(foil, f"inboard_{part}") != outboard:
            unit = part.rsplit("_", 1)[-1]
            found.append(
                Finding(
                    (*path, f"inboard_{part}"),
                    f"both sides of a rudder foil are alike, and outboard_{part} = {outboard:g}",
                    f"{outboard:g} {unit}",
                )
            )
    return found


def _hull_findings(path: Path, hull: HullTable) -> list[Finding]:
    found: list[Finding] = []
    length, beam, draught = hull.waterline_length_m, hull.waterline_beam_m, hull.canoe_draught_m
    volume, prismatic = hull.canoe_volume_m3, hull.prismatic_coefficient
    wetted, waterplane = hull.wetted_area_m2, hull.waterplane_area_m2
    centre_z, radius = hull.buoyancy_centre_z_m, hull.metacentric_radius_m
    if (
        volume is None
        or prismatic is None
        or wetted is None
        or waterplane is None
        or centre_z is None
        or radius is None
    ):
        return []  # a hull given by its shape, or one of which the missing keys are told already
    rectangle = length * beam
    if waterplane > rectangle:
        found.append(
            Finding(
                (*path, "waterplane_area_m2"),
                "is more than water line length times beam",
                f"up to {rectangle:.4g} m²",
            )
        )
    if wetted < waterplane:
        found.append(
            Finding(
                (*path, "wetted_area_m2"),
                "is less than the water plane that it hangs from",
                f"from {waterplane:g} m²",
            )
        )
    box = prismatic * length * beam * draught
    if volume > box:
        found.append(
            Finding(
                (*path, "canoe_volume_m3"),
                "at that length and prismatic coefficient the greatest section exceeds beam times draught",
                f"up to {box:.4g} m³",
            )
        )
    if centre_z < -5.0 * draught:
        found.append(
            Finding(
                (*path, "buoyancy_centre_z_m"),
                "lies more than five canoe draughts below the water",
                f"{-5.0 * draught:.3g} to 0 m",
            )
        )
    greatest_radius = length * beam**3 / 12.0 / volume
    if radius > greatest_radius:
        found.append(
            Finding(
                (*path, "metacentric_radius_m"),
                "is more than a rectangular water plane of that length and beam would give",
                f"up to {greatest_radius:.3g} m",
            )
        )
    return found


def _sheeting_findings(path: Path, sail: SailTable) -> list[Finding]:
    """Whether the sheet leads down to a block that can be set, and has what it is said to hold."""
    found: list[Finding] = []
    foot = sail.foot_height_m - sail.foot_extension_m
    if sail.sheet_block_height_m is not None and sail.sheet_block_height_m >= foot:
        wrong = f"is not below the lower edge of the sail at {foot:g} m"
        found.append(Finding((*path, "sheet_block_height_m"), wrong, f"below {foot:g} m"))
    if sail.sheet_track_min_m is not None and sail.sheet_track_max_m is not None:
        found += _order(path, "sheet_track_min_m", "sheet_track_max_m", sail)
    for holds, key in (("clew", "sheet_point_m"), ("boom", "stay_sag_percent")):
        if sail.sheeting == holds and getattr(sail, key) is not None:
            found.append(Finding((*path, key), f'not used with sheeting = "{holds}"'))
    return found


def _sail_findings(path: Path, sail: SailTable) -> list[Finding]:
    found: list[Finding] = []
    if sail.head_height_m < sail.foot_height_m + LEAST_LUFF_M:
        found.append(
            Finding(
                (*path, "head_height_m"),
                f"the head must be at least {LEAST_LUFF_M:g} m above the foot at {sail.foot_height_m:g} m",
                f"from {sail.foot_height_m + LEAST_LUFF_M:g} m",
            )
        )
    found += _chord_findings(path, sail)
    found += _list_findings(path, "camber_at_percent", sail.camber_at_percent)
    for key in ("camber_flat_percent", "camber_full_percent"):
        found += _same_length(path, key, getattr(sail, key), "camber_at_percent", sail.camber_at_percent)
    for index, (flat, full) in enumerate(
        zip(sail.camber_flat_percent, sail.camber_full_percent, strict=False)
    ):
        if full < flat:
            found.append(
                Finding(
                    (*path, "camber_full_percent", index),
                    f"is less than the flat camber of {flat:g} % at that height",
                    f"from {flat:g} %",
                )
            )
    found += _head_findings(path, sail)
    found += _foot_findings(path, sail)
    for control in (
        "camber_trim_{}_percent",
        "head_camber_trim_{}_percent",
        "foot_camber_trim_{}_percent",
        "sheet_{}_deg",
        "twist_{}_deg",
    ):
        found += _order(path, control.format("min"), control.format("max"), sail)
    found += section_findings(path, sail)
    found += _sheeting_findings(path, sail)
    if sail.head_cut_chord_percent < 100.0 and sail.head_cut_from_percent >= 100.0:
        found.append(
            Finding(
                (*path, "head_cut_from_percent"), "a cut that begins at the head cuts nothing", "below 100 %"
            )
        )
    if sail.head_cut_to_percent < min(sail.head_cut_from_percent, 100.0):
        begins = f"head_cut_from_percent = {sail.head_cut_from_percent:g}"
        found.append(
            Finding(
                (*path, "head_cut_to_percent"),
                f"the cut is done before it begins at {begins}",
                f"from {sail.head_cut_from_percent:g} %",
            )
        )
    return found


def _head_findings(path: Path, sail: SailTable) -> list[Finding]:
    """Whether the head's own camber trim has a zone to act on."""
    zone, transition = sail.head_zone_from_percent, sail.head_transition_from_percent
    if zone >= 100.0:
        asked = {
            "head_transition_from_percent": transition is not None and transition < 100.0,
            "head_camber_trim_min_percent": sail.head_camber_trim_min_percent > 0.0,
            "head_camber_trim_max_percent": sail.head_camber_trim_max_percent > 0.0,
        }
        wrong = "the head has no zone in which a trim of its own could act"
        hint = "set head_zone_from_percent below 100, or leave this key out"
        return [Finding((*path, key), wrong, "", hint) for key, given in asked.items() if given]
    found: list[Finding] = []
    if transition is not None and transition > zone:
        wrong = f"the transition to the head's zone begins above head_zone_from_percent = {zone:g}"
        found.append(Finding((*path, "head_transition_from_percent"), wrong, f"up to {zone:g} %"))
    highest = _station_percents(sail)[-1]
    if zone > highest:
        wrong = f"the head's zone begins above the middle of the uppermost strip at {highest:.1f} %"
        hint = "or raise station_count; 100 % is a head without a trim of its own"
        found.append(Finding((*path, "head_zone_from_percent"), wrong, f"up to {highest:.1f} %", hint))
    return found


def _foot_findings(path: Path, sail: SailTable) -> list[Finding]:
    """Whether the foot's own camber trim has a zone to act on, below the head's."""
    zone, transition = sail.foot_zone_to_percent, sail.foot_transition_to_percent
    if zone <= 0.0:
        asked = {
            "foot_transition_to_percent": transition is not None and transition > 0.0,
            "foot_camber_trim_min_percent": sail.foot_camber_trim_min_percent > 0.0,
            "foot_camber_trim_max_percent": sail.foot_camber_trim_max_percent > 0.0,
        }
        wrong = "the foot has no zone in which a trim of its own could act"
        hint = "set foot_zone_to_percent above 0, or leave this key out"
        return [Finding((*path, key), wrong, "", hint) for key, given in asked.items() if given]
    found: list[Finding] = []
    if transition is not None and transition < zone:
        wrong = f"the transition from the foot's zone ends below foot_zone_to_percent = {zone:g}"
        found.append(Finding((*path, "foot_transition_to_percent"), wrong, f"from {zone:g} %"))
    lowest = _station_percents(sail)[0]
    if zone < lowest:
        wrong = f"the foot's zone ends below the middle of the lowest strip at {lowest:.1f} %"
        hint = "or raise station_count; 0 % is a foot without a trim of its own"
        found.append(Finding((*path, "foot_zone_to_percent"), wrong, f"from {lowest:.1f} %", hint))
    ends = zone if transition is None else max(zone, transition)
    begins = sail.head_zone_from_percent
    if sail.head_transition_from_percent is not None and begins < 100.0:
        begins = min(begins, sail.head_transition_from_percent)
    if ends > begins:
        key = "foot_zone_to_percent" if transition is None else "foot_transition_to_percent"
        wrong = f"the foot's trim reaches into the head's, which begins at {begins:g} %"
        found.append(Finding((*path, key), wrong, f"up to {begins:g} %"))
    return found


def _station_percents(sail: SailTable) -> list[float]:
    """Heights of the lowest and the uppermost strip's middle, in per cent of the luff above the foot."""
    _, middles = stations(
        lower=sail.foot_height_m - sail.foot_extension_m, upper=sail.head_height_m, count=sail.station_count
    )
    luff = sail.head_height_m - sail.foot_height_m
    return [100.0 * (float(middle) - sail.foot_height_m) / luff for middle in (middles[0], middles[-1])]


def _chord_findings(path: Path, sail: SailTable) -> list[Finding]:
    pair = {"chord_at_percent": sail.chord_at_percent, "chord_m": sail.chord_m}
    given = [key for key, values in pair.items() if values is not None]
    if sail.chord_file is not None:
        return [
            Finding((*path, key), "stands beside chord_file", "", "give one or the other") for key in given
        ]
    if sail.chord_at_percent is None or sail.chord_m is None:
        return [
            Finding((*path, key), "missing: chords of the sail", "", "or give chord_file", missing=True)
            for key, values in pair.items()
            if values is None
        ]
    return [
        *_list_findings(path, "chord_at_percent", sail.chord_at_percent),
        *_same_length(path, "chord_m", sail.chord_m, "chord_at_percent", sail.chord_at_percent),
    ]


def _same_length(
    path: Path, key: str, values: Sequence[float], other_key: str, other: Sequence[float]
) -> list[Finding]:
    if len(values) == len(other):
        return []
    return [
        Finding(
            (*path, key), f"has {len(values)} entries, {other_key} has {len(other)}", f"{len(other)} entries"
        )
    ]


def _list_findings(path: Path, key: str, percents: Sequence[float]) -> list[Finding]:
    wrong = heights_fault(percents)
    return [Finding((*path, key), wrong, "rising from 0 to 100 %")] if wrong else []


def heights_fault(percents: Sequence[float]) -> str:
    """Why a list of heights is not one that rises from 0 to 100; empty if it is."""
    if any(b <= a for a, b in pairwise(percents)):
        return "the heights do not rise"
    if percents[0] != 0.0 or percents[-1] != 100.0:
        return "the heights do not reach from foot to head"
    return ""


def boat_findings(boat: BoatDocument) -> list[Finding]:
    """What does not go together between the tables of a boat."""
    found = [*mast_findings(boat), *set_findings(boat)]
    for index, sail in enumerate(boat.sail):
        path: Path = ("sail", index)
        if isinstance(sail, CoefficientSailTable):
            found += _centre_findings(path, sail, boat.rig)
            continue
        found += _deck_findings(path, sail, boat.rig)
        if sail.head_height_m > boat.rig.mast_top_height_m:
            found.append(
                Finding(
                    (*path, "head_height_m"),
                    f"the head is above the mast's top at {boat.rig.mast_top_height_m:g} m",
                    f"up to {boat.rig.mast_top_height_m:g} m",
                    "rig.mast_top_height_m may have to rise with it",
                )
            )
    hulls_width = boat.hull.waterline_beam_m + (boat.hull.hull_spacing_m or 0.0)
    half_beam = max(0.5 * hulls_width, boat.rig.deck_half_width_m)
    reach = half_beam + HIKING_REACH_M
    if boat.crew.arm_max_m > reach:
        found.append(
            Finding(
                ("crew", "arm_max_m"),
                f"is more than {HIKING_REACH_M:g} m outside the hull, whose half beam is {half_beam:g} m",
                f"up to {reach:g} m",
            )
        )
    found += hull_findings(boat)
    limit = boat.hull.wall_sided_limit_deg
    if limit is not None and boat.margins.heel_deg > limit:
        found.append(
            Finding(
                ("margins", "heel_deg"),
                f"the stability model ends at hull.wall_sided_limit_deg = {limit:g}",
                f"up to {limit:g} deg",
            )
        )
    return found + _water_findings(boat) + sail_set_findings(boat) + part_findings(boat)


def _water_findings(boat: BoatDocument) -> list[Finding]:
    """Whether the boat has what it needs under water, and foils the hull that they need."""
    found: list[Finding] = []
    fins, foils = {fin.kind for fin in boat.fin}, {foil.kind for foil in boat.foil}
    if "rudder" not in fins | foils:
        found.append(Finding(("fin",), 'no fin or foil is of kind "rudder": nothing could hold the course'))
    if "fixed" not in fins and "canting_pair" not in foils:
        found.append(
            Finding(
                ("fin",),
                'no fin is of kind "fixed" and no foil of kind "canting_pair": '
                "nothing could carry the side force",
            )
        )
    if boat.foil and boat.hull.model != "thin_ship":
        found.append(
            Finding(
                ("hull", "model"),
                "a boat with foils needs a hull that may rise and pitch",
                '"thin_ship"',
            )
        )
    seen: set[str] = set()
    for index, foil in enumerate(boat.foil):
        if foil.kind in seen:
            found.append(
                Finding(("foil", index, "kind"), "there is already a [[foil]] of that kind", "another kind")
            )
        seen.add(foil.kind)
        found += _depth_findings(("foil", index), foil, -boat.hull.canoe_draught_m)
    return found


def _depth_findings(path: Path, foil: FoilTable, keel_z: float) -> list[Finding]:
    """Whether all of the wing is below the hull's keel line with the arm at its greatest cant."""
    greatest = 0.0 if foil.cant_max_deg is None else foil.cant_max_deg
    cant = math.radians(greatest)
    outboard, inboard = math.radians(foil.outboard_dihedral_deg), math.radians(foil.inboard_dihedral_deg)
    # a wing's end rises over the arm's by so much
    rise = max(
        0.0, foil.outboard_span_m * math.sin(outboard + cant), foil.inboard_span_m * math.sin(inboard - cant)
    )
    highest = foil.attachment_z_m - foil.arm_length_m * math.cos(cant) + rise
    if highest < keel_z:
        return []
    reach = f"the wing reaches up to {highest:+.2f} m, not below the hull's keel at {keel_z:+.2f} m"
    if foil.cant_max_deg is None:
        return [Finding((*path, "arm_length_m"), reach, "", "a longer arm, or a lower attachment")]
    remedy = "less cant, a longer arm, a lower attachment or less dihedral"
    return [Finding((*path, "cant_max_deg"), f"at {greatest:g} deg {reach}", "", remedy)]


def _centre_findings(path: Path, sail: CoefficientSailTable, rig: RigTable) -> list[Finding]:
    """The force of a sail acts on its mast."""
    low, high = rig.deck_height_m, rig.mast_top_height_m
    if low < sail.ce_height_m < high:
        return []
    wrong = f"lies outside the rig, from the deck at {low:g} m to the mast's top at {high:g} m"
    return [Finding((*path, "ce_height_m"), wrong, f"between {low:g} and {high:g} m")]


def _deck_findings(path: Path, sail: SailTable, rig: RigTable) -> list[Finding]:
    lowest = sail.foot_height_m - sail.foot_extension_m
    own = sail.deck_height_m is not None
    height = sail.deck_height_m if sail.deck_height_m is not None else rig.deck_height_m
    gap = lowest - height
    if gap >= LEAST_DECK_GAP_M or math.isclose(gap, LEAST_DECK_GAP_M, rel_tol=1e-9):
        return []
    deck = f"the deck is at {f'sail.{sail.name}' if own else 'rig'}.deck_height_m = {height:g}"
    if sail.foot_extension_m == 0.0:
        least = height + LEAST_DECK_GAP_M
        return [
            Finding(
                (*path, "foot_height_m"), f"the foot lies below or on the deck: {deck}", f"from {least:g} m"
            )
        ]
    longest = sail.foot_height_m - height - LEAST_DECK_GAP_M
    wrong = f"the lower edge at {lowest:g} m lies below or on the deck: {deck}"
    return [Finding((*path, "foot_extension_m"), wrong, f"up to {max(longest, 0.0):g} m")]


# The key to which a form parameter outside the series is put.
_FORM_KEYS = {
    "buoyancy_centre_share": "buoyancy_centre_percent",
    "prismatic_coefficient": "prismatic_coefficient",
    "length_displacement_ratio": "canoe_volume_m3",
    "beam_draught_ratio": "canoe_draught_m",
    "length_beam_ratio": "waterline_beam_m",
}


def weight_findings(boat: Boat, *, is_base: bool) -> list[Finding]:
    """Whether the hull, as drawn, carries about the weight of the boat."""
    density = boat.environment.water_density
    fins = build.fin_volume(boat)
    hull = boat.hull
    if isinstance(hull, FormedHull):
        key, unit, share = "canoe_draught_m", "m", build.FORMED_WEIGHT_TOLERANCE
        canoe, given = build.drawn_form(hull).volume, hull.canoe_draught
    else:
        key, unit, share = "canoe_volume_m3", "m³", build.WEIGHT_TOLERANCE
        canoe, given = hull.canoe_volume, hull.canoe_volume
    drawn = canoe + fins
    needed = boat.total_mass / density
    excess = needed - drawn
    if is_base:
        tolerance = share * drawn
        least, greatest = ((needed / (1.0 + side * share) - fins) * given / canoe for side in (1.0, -1.0))
        allowed = f"{least:.3f} to {greatest:.3f} {unit} at that weight"
        purpose = f"within {100.0 * share:g} % of each other"
    else:
        tolerance = build.GREATEST_VOLUME_CHANGE * canoe
        allowed = ""
        purpose = (
            f"closer than {100.0 * build.GREATEST_VOLUME_CHANGE:g} % for the drawn hull to stand for the boat"
        )
    if abs(excess) <= tolerance:
        return []
    wrong = (
        f"hull and fins displace {density * drawn:.0f} kg at the drawn water line, and the boat with crew "
        f"weighs {boat.total_mass:.0f} kg: these must be {purpose}"
    )
    return [
        Finding(
            ("hull", key),
            wrong,
            allowed,
            _weight_hint(density * math.copysign(abs(excess) - tolerance, excess)),
        )
    ]


def afloat_findings(floating: build.Afloat) -> list[Finding]:
    """Whether the boat at its own weight stays upright and within what its models cover."""
    boat = floating.boat
    found: list[Finding] = floated_findings(boat)
    for parameter, value, low, high in build.outside_series(boat):
        beyond = build.mass_beyond(boat, parameter, low if value < low else high)
        found.append(
            Finding(
                ("hull", _FORM_KEYS[parameter]),
                f"{build.FORM_NAMES[parameter]} is {value:.4g}, which the hull series does not cover",
                f"{low:g} to {high:g}",
                "" if beyond is None else _weight_hint(beyond),
            )
        )
    if floating.metacentric_height <= 0.0:
        key = "waterline_beam_m" if isinstance(boat.hull, FormedHull) else "metacentric_radius_m"
        found.append(
            Finding(
                ("hull", key),
                f"the boat would capsize (an estimate): its metacentric height is "
                f"{floating.metacentric_height:.2f} m, with the centre of mass at "
                f"{build.mass_centre_height(boat):+.2f} m from the water plane",
                "a metacentric height above 0 m",
                "lower the masses or add ballast",
            )
        )
    return found


def _weight_hint(excess: float) -> str:
    return f"{'take off' if excess > 0.0 else 'add'} at least {math.ceil(abs(excess)):d} kg"

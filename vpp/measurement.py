"""What tape, scale and protractor find on a boat: quantities by name, measured from the boat's frozen values.

All is exact geometry of the boat as it is described, upright and afloat as in its boat file. Lengths [m],
areas [m^2], masses [kg], angles [rad].
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from vpp.boat import Boat, Foil, FormedHull, Range, Sail, TableSail

Part = Literal["", "sail", "strips", "sail_set", "foil", "canting_pair"]
"""What a quantity is measured on: the boat as a whole, a named sail of any model, a named sail of strips, a
named sail set, a named foil, or the canting pair, of which a boat has at most one.
"""
NAMED_PARTS: tuple[Part, ...] = ("sail", "strips", "sail_set", "foil")


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """Something that can be measured. `unit` is the ending of keys and columns that hold it."""

    name: str
    unit: Literal["m2", "m", "kg", "deg"]
    part: Part = ""
    says: str
    find: Callable[[Boat, str, float], float]

    @property
    def is_of_named(self) -> bool:
        """Whether the boat may have several, so that the one that is meant has to be named."""
        return self.part in NAMED_PARTS


def measured(boat: Boat, quantity: str, *, of: str = "", at_share: float = math.nan) -> float:
    """A quantity of a boat, SI units and radians.

    `of` names the sail, sail set or foil where the quantity is that of a named one; `at_share` is the height
    on the luff above the foot, from 0 to 1, at which a chord is measured. Raises KeyError for a quantity that
    is not known, and for a part that the boat does not have.
    """
    return QUANTITIES[quantity].find(boat, of, at_share)


# --- sails --------------------------------------------------------------------------------------------------


def _strips(boat: Boat, name: str) -> Sail:
    return {sail.name: sail for sail in boat.sails}[name]


def _any_sail(boat: Boat, name: str) -> Sail | TableSail:
    return {sail.name: sail for sail in boat.every_sail}[name]


def _filled_area(sail: Sail) -> float:
    """Area of the outline with the cut of the head undone."""
    return replace(sail, head_cut_from_share=1.0, head_cut_to_share=1.0, head_cut_chord_share=1.0).area


def _luff_length(sail: Sail) -> float:
    return (sail.head_height - sail.lower_edge_height) / math.cos(sail.luff_rake)


def _chord(sail: Sail, share: float) -> float:
    return sail.chord_at(sail.foot_height + share * (sail.head_height - sail.foot_height))


def _along_luff(sail: Sail, low: float, high: float) -> float:
    """Height between two shares of the luff above the foot."""
    return (high - low) * (sail.head_height - sail.foot_height)


def _head_zone(sail: Sail) -> float:
    return _along_luff(sail, sail.head_zone_from_share, 1.0) if sail.has_head_control else 0.0


def _head_transition(sail: Sail) -> float:
    if not sail.has_head_control:
        return 0.0
    return _along_luff(sail, sail.head_transition_from_share, sail.head_zone_from_share)


def _foot_zone(sail: Sail) -> float:
    """The foot's trim holds on an addition below the foot as well."""
    if not sail.has_foot_control:
        return 0.0
    return sail.foot_extension + _along_luff(sail, 0.0, sail.foot_zone_to_share)


def _foot_transition(sail: Sail) -> float:
    if not sail.has_foot_control:
        return 0.0
    return _along_luff(sail, sail.foot_zone_to_share, sail.foot_transition_to_share)


def _set_area(boat: Boat, name: str) -> float:
    return sum(sail.area for sail in boat.wearing(name).every_sail)


def _total_area(boat: Boat) -> float:
    """Of sails that are up together, those with the most area."""
    if boat.sail_sets:
        return max(_set_area(boat, item.name) for item in boat.sail_sets)
    return sum(sail.area for sail in boat.every_sail)


# --- hull, crew and foils -----------------------------------------------------------------------------------


def _hull_beam(boat: Boat) -> float:
    """The greatest breadth that is known of the hull: of its water line, of its sections, of its deck."""
    hull = boat.hull
    spacing = hull.hull_spacing if isinstance(hull, FormedHull) else 0.0
    outlines = () if hull.sections is None else hull.sections.outlines
    half = max(0.5 * hull.waterline_beam, *(breadth for outline in outlines for breadth, _ in outline), 0.0)
    return max(spacing + 2.0 * half, 2.0 * boat.rig.deck_half_width)


def _crew_reach(boat: Boat) -> float:
    return max(boat.crew.arm.upper, -boat.crew.arm.lower)


def _foil(boat: Boat, name: str) -> Foil:
    return {foil.name: foil for foil in boat.foils}[name]


def _pair(boat: Boat) -> Foil:
    foil = boat.foil("canting_pair")
    if foil is None:
        raise KeyError("canting_pair")
    return foil


def _corners(foil: Foil) -> list[tuple[float, float]]:
    """Ends of arm and wing from the attachment with the arm upright: outboard and up [m]."""
    end = -foil.arm_length
    tips = [
        (side * span * math.cos(dihedral), end + span * math.sin(dihedral))
        for side, span, dihedral in (
            (1.0, foil.outboard_span, foil.outboard_dihedral),
            (-1.0, foil.inboard_span, foil.inboard_dihedral),
        )
        if span > 0.0
    ]
    return [(0.0, 0.0), (0.0, end), *tips]


def _farthest(by_sine: float, by_cosine: float, cant: Range) -> float:
    """Greatest `by_sine` sin(cant) + `by_cosine` cos(cant) within a range."""
    peak = math.atan2(by_sine, by_cosine)
    cants = [cant.lower, cant.upper, *([peak] if cant.lower < peak < cant.upper else [])]
    return max(by_sine * math.sin(each) + by_cosine * math.cos(each) for each in cants)


def _foil_reach(foil: Foil) -> float:
    """Greatest distance of any of its ends from the centreline, at every cant that it may have.

    A point u outboard of the attachment and v above it with the arm upright lies u cos(cant) - v sin(cant)
    outboard and v cos(cant) + u sin(cant) up at a cant. Straight parts between ends reach no further.
    """
    cants = [foil.cant]
    if foil.kind == "canting_pair":
        cants.append(Range(lower=foil.raised_cant, upper=foil.raised_cant))
    return foil.attachment_y + max(
        _farthest(-up, outboard, cant) for cant in cants for outboard, up in _corners(foil)
    )


def _foil_depth(foil: Foil) -> float:
    """Depth below the water plane of the deepest of its ends, at every cant that it may work at."""
    return -foil.attachment_z + max(_farthest(-outboard, -up, foil.cant) for outboard, up in _corners(foil))


def _draught(boat: Boat) -> float:
    fins = (fin.span - fin.root_z for fin in boat.fins)
    return max(boat.hull.canoe_draught, *fins, *map(_foil_depth, boat.foils), 0.0)


def _beam_with_foils(boat: Boat) -> float:
    _pair(boat)
    return max(_hull_beam(boat), *(2.0 * _foil_reach(foil) for foil in boat.foils))


# --- all of them --------------------------------------------------------------------------------------------


def _of_boat(find: Callable[[Boat], float]) -> Callable[[Boat, str, float], float]:
    return lambda boat, of, share: find(boat)


def _of_strips(find: Callable[[Sail], float]) -> Callable[[Boat, str, float], float]:
    return lambda boat, of, share: find(_strips(boat, of))


_ALL = (
    Quantity(
        name="sail_area",
        unit="m2",
        part="sail",
        says="area between luff and leech as the outline stands: what a cut takes off the head is not in it, "
        "what is added below the foot is",
        find=lambda boat, of, share: _any_sail(boat, of).area,
    ),
    Quantity(
        name="sail_area_filled",
        unit="m2",
        part="strips",
        says="the same with the cut of the head filled in again",
        find=_of_strips(_filled_area),
    ),
    Quantity(
        name="sail_area_by_quarters",
        unit="m2",
        part="strips",
        says="area by trapezoids between the chords at the foot, the quarters of the luff and the head, "
        "which sees neither an addition below the foot nor what is cut between those heights",
        find=_of_strips(lambda sail: sail.measured_area),
    ),
    Quantity(
        name="sail_set_area",
        unit="m2",
        part="sail_set",
        says="area of the sails of a set as they are up, reefed ones without their reefed part",
        find=lambda boat, of, share: _set_area(boat, of),
    ),
    Quantity(
        name="total_sail_area",
        unit="m2",
        says="area of all sails; of a boat with sail sets, that of the set with the most",
        find=_of_boat(_total_area),
    ),
    Quantity(
        name="luff_length",
        unit="m",
        part="strips",
        says="length of the luff along its rake, an addition below the foot included",
        find=_of_strips(_luff_length),
    ),
    Quantity(
        name="chord",
        unit="m",
        part="strips",
        says="chord at at_percent of the luff above the foot, head cut applied",
        find=lambda boat, of, share: _chord(_strips(boat, of), share),
    ),
    Quantity(
        name="head_zone_height",
        unit="m",
        part="strips",
        says="height of the zone below the head in which the head's own camber trim holds; 0 without one",
        find=_of_strips(_head_zone),
    ),
    Quantity(
        name="head_transition_height",
        unit="m",
        part="strips",
        says="height of the transition below that zone; 0 without one",
        find=_of_strips(_head_transition),
    ),
    Quantity(
        name="foot_zone_height",
        unit="m",
        part="strips",
        says="height of the zone above the lower edge in which the foot's own camber trim holds; 0 without "
        "one",
        find=_of_strips(_foot_zone),
    ),
    Quantity(
        name="foot_transition_height",
        unit="m",
        part="strips",
        says="height of the transition above that zone; 0 without one",
        find=_of_strips(_foot_transition),
    ),
    Quantity(
        name="lower_edge_over_pivot",
        unit="m",
        part="strips",
        says="height of the sail's lower edge over the lower end of the mast; negative below it",
        find=lambda boat, of, share: _strips(boat, of).lower_edge_height - boat.rig.mast_base_height,
    ),
    Quantity(
        name="pivot_over_cant_axis",
        unit="m",
        part="canting_pair",
        says="height of the lower end of the mast, on which it turns, over the upper end of the canting arms",
        find=_of_boat(lambda boat: boat.rig.mast_base_height - _pair(boat).attachment_z),
    ),
    Quantity(
        name="mast_height_over_deck",
        unit="m",
        says="height of the mast's top over the rig's deck",
        find=_of_boat(lambda boat: boat.rig.mast_top_height - boat.rig.deck_height),
    ),
    Quantity(
        name="waterline_length",
        unit="m",
        says="length of the water line",
        find=_of_boat(lambda boat: boat.hull.waterline_length),
    ),
    Quantity(
        name="hull_beam",
        unit="m",
        says="greatest breadth known of the hull: of the water line, of the sections where there are any, of "
        "the rig's deck; over both hulls of a catamaran",
        find=_of_boat(_hull_beam),
    ),
    Quantity(
        name="crew_reach",
        unit="m",
        says="greatest distance of the crew from the centreline",
        find=_of_boat(_crew_reach),
    ),
    Quantity(
        name="beam_with_foils",
        unit="m",
        part="canting_pair",
        says="breadth over hull and foils, each foil where it reaches furthest at any cant, raised ones too",
        find=_of_boat(_beam_with_foils),
    ),
    Quantity(
        name="draught",
        unit="m",
        says="depth under the water plane of the lowest of hull, fins and foils, canting foils where they "
        "reach deepest",
        find=_of_boat(_draught),
    ),
    Quantity(
        name="foil_span",
        unit="m",
        part="foil",
        says="span of the wing along both its halves",
        find=lambda boat, of, share: _foil(boat, of).outboard_span + _foil(boat, of).inboard_span,
    ),
    Quantity(
        name="least_cant",
        unit="deg",
        part="canting_pair",
        says="least cant of the working foil",
        find=_of_boat(lambda boat: _pair(boat).cant.lower),
    ),
    Quantity(
        name="greatest_cant",
        unit="deg",
        part="canting_pair",
        says="greatest cant of the working foil",
        find=_of_boat(lambda boat: _pair(boat).cant.upper),
    ),
    Quantity(
        name="cant_range",
        unit="deg",
        part="canting_pair",
        says="greatest cant less least",
        find=_of_boat(lambda boat: _pair(boat).cant.upper - _pair(boat).cant.lower),
    ),
    Quantity(
        name="boat_mass",
        unit="kg",
        says="mass of the boat with mast, sails, fins and foils, without crew",
        find=_of_boat(lambda boat: boat.total_mass - boat.crew.mass),
    ),
    Quantity(
        name="crew_mass",
        unit="kg",
        says="mass of the crew",
        find=_of_boat(lambda boat: boat.crew.mass),
    ),
)
QUANTITIES: dict[str, Quantity] = {quantity.name: quantity for quantity in _ALL}
"""Every quantity that can be measured, by its name."""

"""A hull given by its sections: half breadths at heights, at stations along its length."""

from __future__ import annotations

from dataclasses import dataclass

Point = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class SectionShape:
    """A hull's sections in body axes [m], the same to port and starboard.

    `station_x` rises from aft to forward. `outlines` holds one section a station: points (half breadth,
    height) from the keel up to the sheer, of which neither height (above the drawn water plane) nor half
    breadth ever falls, and one of them rises. A first point off the centreline is the corner of a flat
    bottom. Between points and between stations the surface is straight; a first or last section that has a
    breadth below the water is cut off flat: a transom. A hull whose stem is a line ends with a section of no
    breadth.
    """

    station_x: tuple[float, ...]
    outlines: tuple[tuple[Point, ...], ...]

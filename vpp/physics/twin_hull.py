"""Wave resistance of two like hulls abreast, a catamaran's, with the interference of their waves.

`twin_wave_table` and `twin_section_wave_table` are made once, when a boat is built; `twin_wave_resistance`
takes arrays of conditions.
"""

from __future__ import annotations

from dataclasses import dataclass

from vpp.physics.arrays import Array, elementwise
from vpp.physics.hull_form import (
    INTEGRAL_FROUDE,
    SHORT_WAVE_FROUDE,
    VOLUME_SHARES,
    WaveTable,
    check_form,
    froude_powers,
    immersion_at,
    sum_of_powers,
    table_of_curves,
    wave_curve,
)
from vpp.physics.hull_form import drawn_volume as family_volume
from vpp.physics.section_shape import SectionShape
from vpp.physics.section_waves import section_wave_tables
from vpp.physics.thin_ship import (
    family_wave_pair,
    family_wave_resistance,
    short_wave_spacing_factor,
)


@dataclass(frozen=True, kw_only=True)
class TwinWaveTable:
    """What `twin_wave_resistance` takes: `own`, resistance of one hull by itself, and `added`, what a like
    one abreast at the same volume adds to it.
    """

    own: WaveTable
    added: WaveTable


def twin_wave_table(
    *,
    spacing: float,
    waterline_length: float,
    waterline_beam: float,
    canoe_draught: float,
    waterline_exponent: float,
    section_exponent: float,
) -> TwinWaveTable:
    """Tables of two hulls of the family in `hull_form`, abreast with `spacing` [m] between their centre
    planes; the other arguments are those of one hull, as in `hull_form.wave_table`.

    Takes some 0.4 s. Raises ValueError as `hull_form.hull_columns` does, or for a negative spacing.
    """
    _check_spacing(spacing)
    lengths = (waterline_length, waterline_beam, canoe_draught)
    check_form(lengths, (waterline_exponent, section_exponent))
    drawn = family_volume(
        waterline_length=1.0,
        waterline_beam=waterline_beam / waterline_length,
        canoe_draught=canoe_draught / waterline_length,
        waterline_exponent=waterline_exponent,
        section_exponent=section_exponent,
    )
    apart = spacing / waterline_length
    own_curves, added_curves = [], []
    for share in VOLUME_SHARES:
        form = {
            "length_beam_ratio": waterline_length / waterline_beam,
            "beam_draught_ratio": waterline_beam / canoe_draught,
            "waterline_exponent": waterline_exponent,
            "section_exponent": section_exponent,
            "immersion": immersion_at(volume_share=share, section_exponent=section_exponent),
        }
        single, added = family_wave_pair(froude_number=INTEGRAL_FROUDE, spacing=apart, **form)
        short = family_wave_resistance(froude_number=SHORT_WAVE_FROUDE, interference=False, **form)
        beside = short * short_wave_spacing_factor(apart / SHORT_WAVE_FROUDE**2)
        own_curves.append(wave_curve(integral=single, short_waves=short) / (share * drawn) ** 2)
        added_curves.append(wave_curve(integral=added, short_waves=beside) / (share * drawn) ** 2)
    return TwinWaveTable(own=table_of_curves(curves=own_curves), added=table_of_curves(curves=added_curves))


def twin_section_wave_table(*, spacing: float, shape: SectionShape, waterline_length: float) -> TwinWaveTable:
    """Tables of two hulls given by their sections, abreast with `spacing` [m] between their centre planes;
    `shape` and drawn `waterline_length` [m] of one as in `section_waves.section_wave_table`.

    Takes some 0.6 s. Raises ValueError as `section_waves.section_wave_table` does, or for a negative spacing.
    """
    _check_spacing(spacing)
    own, added = section_wave_tables(shape=shape, waterline_length=waterline_length, spacing=spacing)
    return TwinWaveTable(own=own, added=added)


def twin_wave_resistance(
    *,
    froude_number: Array,
    volume_leeward: Array,
    volume_windward: Array,
    drawn_volume: Array,
    waterline_length: Array,
    table: TwinWaveTable,
    water_density: Array,
    gravity: Array,
) -> Array:
    """Wave resistance [N] of both hulls together, from a `TwinWaveTable`.

    (conditions,) each: froude_number on the drawn length, 0 to 3; the volumes [m^3] that the two displace,
    from 0 to 3 times the drawn_volume of one; waterline_length [m]; water_density [kg/m^3]; gravity [m/s^2].
    Twice continuously differentiable, also where a hull leaves the water: then the other's own resistance.

    Own resistances as `hull_form.wave_resistance`, plus twice the product of the volumes with the added
    resistance over volume squared at their mean: exact for equal ones. How far from it for others is on the
    theory page. Level, parallel hulls; hull forms and validity as there.
    """

    def resistance(froude_number: Array, leeward: Array, windward: Array) -> tuple[Array, ...]:
        own = froude_powers(froude_number=froude_number, table=table.own)
        added = froude_powers(froude_number=froude_number, table=table.added)
        mean_share = 0.5 * (leeward + windward) / drawn_volume
        total = (
            leeward**2 * sum_of_powers(powers=own, volume_share=leeward / drawn_volume)
            + windward**2 * sum_of_powers(powers=own, volume_share=windward / drawn_volume)
            + 2.0 * leeward * windward * sum_of_powers(powers=added, volume_share=mean_share)
        )
        return (water_density * gravity / waterline_length**3 * total,)

    return elementwise(resistance, froude_number, volume_leeward, volume_windward)[0]


def _check_spacing(spacing: float) -> None:
    if spacing < 0.0:
        raise ValueError(f"The spacing of two hulls must not be negative; {spacing:g} m is given.")

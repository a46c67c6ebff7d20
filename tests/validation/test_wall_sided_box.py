"""Wall-sided formula (E. C. Tupper, Introduction to Naval Architecture; edition and page from memory) against
the buoyancy of columns.

A box of beam 10 m, draught 3 m, depth 6 m (freeboard 3 m), centre of mass 4 m above the keel: GM 0.277778 m,
GZ 0.055734 m at 10 deg and 0.370370 m at 30 deg, by hand.
"""

import numpy as np
import pytest

from vpp.physics.hull_form import SURFACE_BAND, Afloat, Columns, buoyancy

LENGTH, BEAM, DRAUGHT = 20.0, 10.0, 3.0
MASS_HEIGHT = 4.0 - DRAUGHT
STRIPS = 20
DENSITY, GRAVITY = 1000.0, 9.80665


def box() -> Columns:
    """Strips along the box, two columns each, then its four sides as they stand on the bottom."""
    width = BEAM / STRIPS
    middle = np.tile((np.arange(STRIPS) + 0.5) * width - 0.5 * BEAM, 2)
    area = LENGTH * BEAM / len(middle)
    floor, side, end = np.ones(len(middle)), np.ones(2), np.ones(len(middle))
    none = 0.0 * np.concatenate((floor, side, end))
    # two points at LENGTH/sqrt(12) have the second moment of the length
    aft_and_fore = np.repeat((-1.0, 1.0), STRIPS)
    values = {
        "x": np.concatenate((aft_and_fore * LENGTH / 12.0**0.5, 0.0 * side, 0.5 * LENGTH * aft_and_fore)),
        "y": np.concatenate((middle, [-0.5 * BEAM, 0.5 * BEAM], middle)),
        "bottom_z": none - DRAUGHT,
        "plan_area": np.concatenate((area * floor, 0.0 * side, 0.0 * end)),
        "skin_area": np.concatenate((area * floor, 0.0 * side, 0.0 * end)),
        "side_length": np.concatenate((0.0 * floor, LENGTH * side, width * end)),
        "variance_y": np.concatenate((width**2 / 12.0 * floor, 0.0 * side, 0.0 * end)),
        "covariance_yz": none,
        "variance_z": none,
    }
    return Columns(**{name: value[:, None] for name, value in values.items()})


def afloat(heel: float, pitch: float = 0.0) -> Afloat:
    return buoyancy(
        columns=box(),
        ride_height=np.zeros(1),
        heel=np.array([heel]),
        pitch=np.array([pitch]),
        water_density=DENSITY,
        gravity=GRAVITY,
    )


def righting_arm(heel: float) -> float:
    found = afloat(heel)
    return float(found.roll[0] / found.up[0] - MASS_HEIGHT * np.sin(heel))


# The band at the surface lowers the centre of buoyancy by its square over 14 draughts: 1e-5 m here.
BAND_LEVER = SURFACE_BAND**2 / (14.0 * DRAUGHT)


def test_metacentric_height() -> None:
    heel = 1e-4
    assert righting_arm(heel) / np.sin(heel) == pytest.approx(0.277778 - BAND_LEVER, abs=1e-6)


@pytest.mark.parametrize(("heel_deg", "expected"), [(10.0, 0.055734), (30.0, 0.370370)])
def test_righting_arm(heel_deg: float, expected: float) -> None:
    heel = np.deg2rad(heel_deg)
    assert righting_arm(heel) == pytest.approx(expected - BAND_LEVER * np.sin(heel), abs=1e-6)


@pytest.mark.parametrize("heel_deg", [0.0, 10.0, 30.0])
def test_it_floats_at_its_displacement(heel_deg: float) -> None:
    found = afloat(np.deg2rad(heel_deg))
    assert found.volume[0] == pytest.approx(LENGTH * BEAM * DRAUGHT, rel=1e-12)
    assert found.up[0] == pytest.approx(DENSITY * GRAVITY * LENGTH * BEAM * DRAUGHT, rel=1e-12)
    assert found.pitch[0] == pytest.approx(0.0, abs=1e-3)


def test_longitudinal_metacentric_height() -> None:
    """L^2/(12 T) - T/2, by hand; bow up is answered bow down."""
    found = afloat(0.0, pitch=1e-4)
    arm = found.pitch[0] / (found.up[0] * 1e-4)
    assert arm == pytest.approx(LENGTH**2 / (12.0 * DRAUGHT) - 0.5 * DRAUGHT, rel=1e-5)


def test_wetted_area() -> None:
    wetted = LENGTH * BEAM + 2.0 * (LENGTH + BEAM) * DRAUGHT
    assert afloat(0.0).wetted_area[0] == pytest.approx(wetted, rel=1e-12)

"""Port and starboard tack: the whole force model mirrored gives the mirrored forces. Nothing but symmetry
is assumed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support import keelboat
from vpp import balance, fleets, trim
from vpp.physics import lifting_line
from vpp.physics.lifting_line import WakeOperator

COUNT = 8
BOAT = keelboat.coarse(keelboat.base(), 6)
BOATS = {"as filed": BOAT, "with a turning mast": keelboat.turning_mast(BOAT)}
# what changes sign when the boat is seen in a mirror; true wind angle, speed and the rest do as named below
TURNED = (
    *("leeway", "heel", "rudder", "crew_arm", "twa", "mast_rotation"),
    *("main_sheet", "jib_sheet", "main_twist", "jib_twist"),
)


@dataclass(frozen=True, kw_only=True)
class _PortWake(WakeOperator):
    """The wake on port tack. Fitted for wind from starboard alone, it is continued to the other side.

    By symmetry the velocity across the wind (positive with the lift) is even in the wind's angle, and that
    along it changes sign.
    """

    def at(self, angle, order=0, place=0, *, ride_height=0.0):
        count = self.coefficients.shape[-1]
        found = np.array(super().at(-angle, order, place, ride_height=ride_height)) * (-1.0) ** order
        found[:, count:] *= -1.0
        return found


def _loads(boat, values, *, port):
    fleet = fleets.fleet([boat])
    arrays, wake = fleet.select(np.zeros(COUNT, dtype=np.intp))
    if port:
        rig = replace(arrays.rig, camber_flat=-arrays.rig.camber_flat, camber_full=-arrays.rig.camber_full)
        arrays = replace(arrays, rig=rig)
        arrays = replace(arrays, mass_moment_y=-arrays.mass_moment_y)
        wake = _PortWake(coefficients=wake.coefficients, boat=wake.boat)
    wind = balance.true_wind(boats=arrays, tws=np.full(COUNT, 7.0), twa=values["twa"])
    return balance.loads(
        fleet_layout=fleet.layout,
        boats=arrays,
        wake=wake,
        wind=wind,
        state=trim.state_from(values, fleet.layout),
        at_work=(),
    )


@pytest.mark.parametrize("which", BOATS)
@settings(deadline=None, max_examples=10, derandomize=True)
@given(seed=st.integers(0, 10_000))
def test_the_mirrored_boat_has_the_mirrored_forces(which, seed):
    boat = BOATS[which]
    twa_deg = np.random.default_rng(seed).uniform(30.0, 178.0, COUNT)
    problem = keelboat.problem([boat], keelboat.conditions(tws_kn=10, twa_deg=twa_deg))
    starboard = keelboat.named_state(problem, keelboat.random_states(problem, seed=seed))
    port = {name: -value if name in TURNED else value for name, value in starboard.items()}
    one, other = _loads(boat, starboard, port=False), _loads(boat, port, port=True)
    for part, sign in {"forward": 1, "leeward": -1, "up": 1, "roll": -1, "pitch": 1, "yaw": -1}.items():
        for here, there in zip(one, other, strict=True):
            expected = sign * np.broadcast_to(getattr(here.load, part), COUNT)
            found = np.broadcast_to(getattr(there.load, part), COUNT)
            scale = max(1.0, np.abs(expected).max())
            np.testing.assert_allclose(found, expected, atol=1e-9 * scale, err_msg=f"{here.name} {part}")


def test_mutual_influence_of_two_sails_is_mirrored_too():
    """The symmetry that the port wake above is built on, of the Biot-Savart integrals themselves."""
    main, jib = (fleets.sail_line(sail) for sail in BOAT.sails)
    for angle in np.radians([10.0, 45.0, 120.0]):
        for on, by in ((main, jib), (jib, main)):
            across, along = lifting_line.mutual_influence(on=on, by=by, mirror=None, angle=float(angle))
            across_port, along_port = lifting_line.mutual_influence(
                on=on, by=by, mirror=None, angle=-float(angle)
            )
            np.testing.assert_allclose(across_port, across, atol=1e-14)
            np.testing.assert_allclose(along_port, -along, atol=1e-14)

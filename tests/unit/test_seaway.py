"""Boats in waves, in thin air and with measured factors on their forces, through the whole solver."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.support import foiler, keelboat
from vpp import config, equilibrium, fleets, trim
from vpp.boat import Boat, Calibration, Fin, Hull, Range, Sea
from vpp.config import BoatFileError, sea_of
from vpp.physics import waves
from vpp.solved import FOIL_BORNE
from vpp.solver.status import Status

UPWIND = keelboat.conditions(tws_kn=[8.0, 14.0], twa_deg=[45.0, 45.0])
CHOP = Sea(model="given", significant_height=0.4, peak_period=3.0)


def solved(boat: Boat, conditions: object = UPWIND) -> equilibrium.Solved:
    found = equilibrium.solve([boat], conditions)  # type: ignore[arg-type]
    assert (found.status == Status.CONVERGED).all(), found.reason
    return found


@pytest.fixture(scope="module")
def flat() -> equilibrium.Solved:
    return solved(keelboat.coarse(keelboat.base()))


def in_sea(sea: Sea) -> Boat:
    return replace(keelboat.coarse(keelboat.base()), sea=sea)


@pytest.fixture(scope="module")
def rough() -> equilibrium.Solved:
    return solved(in_sea(CHOP))


@pytest.fixture(scope="module")
def speeds() -> dict[str, np.ndarray]:
    """Boat speeds of the boat and of others that differ from it in one thing, solved together."""
    base = keelboat.coarse(keelboat.base())
    air, hull = base.environment, base.hull
    assert isinstance(hull, Hull)
    boats = {
        "base": base,
        # the share of sea level's density that is left at 2000 m (ISO 2533)
        "thin_air": replace(base, environment=replace(air, air_density=0.785 * air.air_density)),
        "heavy_going": replace(base, calibration=Calibration(hull_resistance=1.2)),
        "sleek": replace(base, calibration=Calibration(windage=0.8)),
        "dirty_fins": replace(base, calibration=Calibration(appendage_drag=1.3)),
        "rough_bottom": replace(base, hull=replace(hull, roughness=0.3e-3)),
    }
    count = len(UPWIND)
    every = UPWIND.take(np.tile(np.arange(count), len(boats)))
    found = equilibrium.solve(
        list(boats.values()), replace(every, option=np.repeat(np.arange(len(boats)), count))
    )
    assert (found.status == Status.CONVERGED).all(), found.reason
    return dict(zip(boats, found.quantities["boat_speed"].reshape(-1, count), strict=True))


def test_waves_from_ahead_cost_speed_and_are_in_the_budget(
    flat: equilibrium.Solved, rough: equilibrium.Solved
) -> None:
    """Source of the sign: waves from ahead add resistance (Gerritsma & Beukelman 1972, memory)."""
    assert (rough.quantities["boat_speed"] < 0.99 * flat.quantities["boat_speed"]).all()
    added = rough.force[rough.components.index("added resistance in waves"), 0]
    assert (added < -50.0).all()
    np.testing.assert_allclose(rough.quantities["wave_height"], 0.4)
    np.testing.assert_allclose(flat.quantities["wave_height"], 0.0)


def test_waves_from_abaft_the_beam_are_left_out() -> None:
    aft = keelboat.conditions(tws_kn=12.0, twa_deg=130.0)
    np.testing.assert_allclose(
        solved(in_sea(CHOP), aft).quantities["boat_speed"],
        solved(in_sea(Sea()), aft).quantities["boat_speed"],
        rtol=1e-9,
    )


def test_a_wind_sea_grows_with_the_wind() -> None:
    """Source: the growth law itself (JONSWAP 1973 with its fully developed limit, memory)."""
    found = solved(in_sea(Sea(model="wind_sea", fetch=5000.0)))
    expected = waves.wind_sea(wind_speed=UPWIND.tws, fetch=5000.0)
    np.testing.assert_allclose(found.quantities["wave_height"], expected.significant_height, rtol=1e-12)
    np.testing.assert_allclose(found.quantities["wave_period"], expected.peak_period, rtol=1e-12)


def test_boats_in_and_out_of_waves_do_not_share_a_batch_but_a_call(rough: equilibrium.Solved) -> None:
    both = keelboat.conditions(tws_kn=[14.0, 14.0], twa_deg=[45.0, 45.0], option=[0, 1])
    together = equilibrium.solve([in_sea(Sea()), in_sea(CHOP)], both)
    assert together.quantities["boat_speed"][1] == pytest.approx(rough.quantities["boat_speed"][1], rel=1e-9)
    assert together.quantities["boat_speed"][1] < together.quantities["boat_speed"][0]


def test_jacobian_in_waves_is_that_of_differences() -> None:
    """Source: central differences."""
    problem = keelboat.problem([in_sea(CHOP)], UPWIND)
    x = keelboat.random_states(problem, seed=3)
    cases = np.arange(problem.condition_count)
    none = np.zeros((problem.equality_count + problem.inequality_count, len(cases)))
    found = problem.derivatives(x, cases, none).jacobian
    step = 1e-6
    for i in range(problem.variable_count):
        up, down = x.copy(), x.copy()
        up[i] += step
        down[i] -= step
        slope = (problem.values(up, cases).constraints - problem.values(down, cases).constraints) / (2 * step)
        np.testing.assert_allclose(found[:, i], slope, rtol=2e-5, atol=2e-6)


def test_foils_keep_clear_of_crests_and_below_troughs() -> None:
    """Source: Rayleigh's distribution, one wave in ten (Longuet-Higgins 1952, memory): 0.5365 Hs."""
    boat = replace(foiler.base(), sea=Sea(model="given", significant_height=0.2, peak_period=3.0))
    conditions = keelboat.conditions(tws_kn=14.0, twa_deg=70.0)
    free = trim.freedom([boat], FOIL_BORNE)
    rough = trim.FastestEquilibrium(fleets.fleet([boat]), free, conditions)
    calm = trim.FastestEquilibrium(fleets.fleet([foiler.base()]), free, conditions)
    row = free.names.index("ride_height")
    raised = (rough.lower[row] - calm.lower[row]) * rough.scale[row]
    assert raised[0] == pytest.approx(0.2 * 0.5365, rel=1e-3)
    deeper = rough.boats.least_immersion - calm.boats.least_immersion
    assert deeper[0] == pytest.approx(0.2 * 0.5365, rel=1e-3)


def test_waves_higher_than_the_foils_reach_leave_no_equilibrium_on_them() -> None:
    boat = replace(foiler.base(), sea=Sea(model="given", significant_height=6.0, peak_period=9.0))
    conditions = keelboat.conditions(tws_kn=14.0, twa_deg=90.0)
    found = equilibrium.solve([boat], conditions, branches=(FOIL_BORNE,))
    assert found.status[0] == Status.NO_EQUILIBRIUM


@pytest.mark.parametrize(
    ("text", "sea"),
    [
        ("flat", Sea()),
        ("0.5:3", Sea(model="given", significant_height=0.5, peak_period=3.0)),
        ("fetch:20", Sea(model="wind_sea", fetch=20e3)),
    ],
)
def test_a_sea_in_words(text: str, sea: Sea) -> None:
    assert sea_of(text) == sea


@pytest.mark.parametrize("text", ["rough", "0.5", "1:0", "30:5", "fetch:", "a:b"])
def test_words_that_are_no_sea(text: str) -> None:
    with pytest.raises(BoatFileError, match="HEIGHT:PERIOD"):
        sea_of(text)


def test_a_boat_file_in_another_sea() -> None:
    file = config.load(keelboat.FILE).at_sea(CHOP)
    assert {boat.sea for boat in file.boats} == {CHOP}


def test_waves_steeper_than_waves_stand_are_refused() -> None:
    """Source: the steepest wave is a seventh as high as long (J. H. Michell 1893, from memory)."""
    with pytest.raises(BoatFileError, match="a seventh"):
        config.load(keelboat.FILE).at_sea(Sea(model="given", significant_height=1.0, peak_period=2.0))


# --- air, factors, trim tab ---------------------------------------------------------------------------------


def test_thin_air_drives_less(speeds: dict[str, np.ndarray]) -> None:
    """Source of the sign: force goes with density."""
    assert (speeds["thin_air"] < speeds["base"])[0]


def test_factors_scale_the_forces_that_they_name() -> None:
    """The same state under other factors: each component by its own factor, exactly."""
    base = keelboat.coarse(keelboat.base())
    scale = Calibration(hull_resistance=1.2, windage=0.8, sail_force=1.1)
    cases = np.arange(2)
    before = keelboat.problem([base], UPWIND)
    after = keelboat.problem([replace(base, calibration=scale)], UPWIND)
    x = keelboat.random_states(before, seed=5)
    named = before.named(x, cases)
    loads = [
        {component.name: component.load for component in problem.loads(named, cases)[0]}
        for problem in (before, after)
    ]
    factors = {"main": 1.1, "jib": 1.1, "mast": 0.8, "crew windage": 0.8, "topsides": 0.8}
    factors |= {"hull friction": 1.2, "hull residuary": 1.2, "keel": 1.0, "weight": 1.0}
    for name, factor in factors.items():
        np.testing.assert_allclose(
            loads[1][name].forward, factor * np.asarray(loads[0][name].forward), rtol=1e-12, atol=1e-12
        )


def test_more_resistance_is_slower_and_less_windage_faster(speeds: dict[str, np.ndarray]) -> None:
    assert (speeds["heavy_going"] < speeds["base"]).all()
    assert (speeds["sleek"] > speeds["base"]).all()
    assert (speeds["dirty_fins"] < speeds["base"]).all()


def with_tab(fin: Fin) -> Fin:
    if fin.kind == "rudder":
        return fin
    return replace(fin, tab_chord_share=0.2, tab=Range(lower=0.0, upper=np.radians(8.0)))


def test_a_trim_tab_takes_leeway_and_is_never_slower(flat: equilibrium.Solved) -> None:
    """Source of the sign: a tab to leeward moves the fin's zero lift, so that less leeway makes the force."""
    base = keelboat.coarse(keelboat.base())
    tabbed = solved(replace(base, fins=tuple(map(with_tab, base.fins))))
    assert (tabbed.quantities["tab"] > np.radians(0.5)).all()
    assert (tabbed.quantities["leeway"] < flat.quantities["leeway"]).all()
    assert (tabbed.quantities["boat_speed"] > flat.quantities["boat_speed"] - 1e-9).all()


def test_a_rough_bottom_is_slower(speeds: dict[str, np.ndarray]) -> None:
    assert (speeds["rough_bottom"] < 0.99 * speeds["base"]).all()

"""Which guessed starts the search for the fastest equilibrium begins from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vpp.solved import FOIL_BORNE
from vpp.trim import FastestEquilibrium, Start

FloatArray = NDArray[np.float64]
Integers = NDArray[np.int64]
Mask = NDArray[np.bool_]

# Sails may be best attached or stalled, full or flat, or eased to their stops, and on the hull depowered in
# several ways: each is an optimum. JIB_EASED carries the load in the mainsail.
ATTACHED = Start(speed_factor=1.1, incidence=(0.14,), twist=0.1, camber=0.55)
FLAT = replace(ATTACHED, incidence=(0.05,), twist=0.2, camber=0.25)
EASED = replace(ATTACHED, speed_factor=1.2, incidence=(-1.0,), twist=1.0, camber=0.95)
MAIN_STALLED = replace(ATTACHED, speed_factor=1.0, incidence=(0.8, 0.14))
STALLED = replace(MAIN_STALLED, speed_factor=0.9, incidence=(1.05,))
SLOW = replace(STALLED, speed_factor=0.4, incidence=(0.05,), twist=0.25, camber=0.15)
JIB_EASED = replace(ATTACHED, speed_factor=0.8, incidence=(0.14, -0.4))
# A hull may be fastest afloat or planing, or half lifted by its foils. As a run that rises aft planes bow up,
# the fast starts of planing hulls are: level, they may stay wet to the bow.
HALF_LIFTED = replace(ATTACHED, speed_factor=1.6, camber=0.4)
PLANING = replace(ATTACHED, speed_factor=2.0, pitch=np.radians(2.5))
PLANING_FLAT = replace(PLANING, speed_factor=1.6, camber=0.4)
FULL = replace(ATTACHED, camber=0.95)
# A catamaran may fly a hull or not: it begins with one hull out of the water, and off the wind level and
# heeled to windward besides.
FLYING_HULL = replace(ATTACHED, speed_factor=1.6, heel=0.12, crew_share=0.25)
LEVEL = replace(MAIN_STALLED, speed_factor=1.8, heel=0.0, crew_share=0.5)
LEVEL_BACK = replace(LEVEL, heel=-0.19, crew_share=0.9)
FLYING_BACK = replace(FLYING_HULL, heel=-0.19, crew_share=0.9)
FLYING = replace(ATTACHED, speed_factor=1.3, twist=0.3, camber=0.2)
FLYING_FLAT = replace(FLYING, speed_factor=1.2, incidence=(0.05,), twist=0.2, camber=0.1)
JIB_LUFFING = replace(FLYING, incidence=(0.1, -0.4), camber=0.5)
# For conditions in which no other start led to an equilibrium.
LAST = SLOW
# From here on stalled and eased sails are among the optima [rad].
OFF_THE_WIND = np.radians(100.0)

# States all over the bounds from which a condition on its own is searched as well.
SCATTERED, SEED = 24, 7

AFLOAT = (ATTACHED, FLAT, JIB_EASED)
AFLOAT_OFF_THE_WIND = (EASED, MAIN_STALLED, STALLED)
TWO_HULLS, TWO_HULLS_OFF_THE_WIND = (FLYING_HULL,), (LEVEL, LEVEL_BACK, FLYING_BACK)
PLANING_HULL = (PLANING, FULL, PLANING_FLAT)
ON_THE_HULL_OF_A_FOILER = (SLOW, JIB_EASED, JIB_LUFFING, HALF_LIFTED, ATTACHED, FLAT)
ON_FOILS = (FLYING, FLYING_FLAT, JIB_LUFFING, JIB_EASED)


def scattered_states(problem: FastestEquilibrium, cases: Integers) -> tuple[Integers, FloatArray]:
    """Cases as often as states all over their bounds, and those states (variables, cases)."""
    share = np.random.default_rng(SEED).uniform(0.1, 0.9, (SCATTERED, problem.variable_count))
    low, high = problem.lower[:, cases], problem.upper[:, cases]
    states = [low + part[:, None] * (high - low) for part in share]
    return np.tile(cases, SCATTERED), np.concatenate(states, axis=-1)


def starts_for(problem: FastestEquilibrium) -> list[tuple[Start, Mask]]:
    """Guessed starts of a problem at wind angles, each with the conditions that it is for."""
    always, off_the_wind = _starts(problem)
    everywhere = np.ones(problem.condition_count, dtype=bool)
    broad = problem.conditions.twa > OFF_THE_WIND
    asked = [(how, everywhere) for how in always] + [(how, broad) for how in off_the_wind]
    return [(how, where) for how, where in asked if where.any()]


def _starts(problem: FastestEquilibrium) -> tuple[tuple[Start, ...], tuple[Start, ...]]:
    if problem.free.branch == FOIL_BORNE:
        return ON_FOILS, ()
    if problem.layout.foils:
        return ON_THE_HULL_OF_A_FOILER, (EASED, STALLED)
    if problem.layout.hull.hulls > 1:
        return (*TWO_HULLS, *AFLOAT), (*TWO_HULLS_OFF_THE_WIND, *AFLOAT_OFF_THE_WIND)
    if problem.layout.hull.model == "planing_prism":
        return (*AFLOAT, *PLANING_HULL), AFLOAT_OFF_THE_WIND
    return AFLOAT, AFLOAT_OFF_THE_WIND

"""Velocity prediction for sailing boats: the fastest equilibrium at every wind speed and angle, and what a
change of rig buys.

The names below are loaded on first use, so that `import vpp` and `vpp --help` stay quick. `vpp.polar`,
`vpp.compare`, `vpp.gusts`, `vpp.levers` and `vpp.why` are the functions; other names of those modules come by
`from vpp.polar import ...`.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

from vpp.version import __version__

if TYPE_CHECKING:
    from vpp.calibration import calibrate as calibrate
    from vpp.compare import compare as compare
    from vpp.config import BoatFileError as BoatFileError
    from vpp.config import load as load
    from vpp.crew import crew_worth as crew_worth
    from vpp.current import in_current as in_current
    from vpp.doubt import doubt as doubt
    from vpp.exchange.formats import export as export
    from vpp.gusts import gusts as gusts
    from vpp.improve import improve as improve
    from vpp.levers import levers as levers
    from vpp.polar import WindGrid as WindGrid
    from vpp.polar import point as point
    from vpp.polar import polar as polar
    from vpp.rig_plot import draw_rig as draw_rig
    from vpp.solved import NoEquilibrium as NoEquilibrium
    from vpp.solver.stopping import keep_on_interrupt as keep_on_interrupt
    from vpp.stability import stability as stability
    from vpp.sweep import sweep as sweep
    from vpp.targets import targets as targets
    from vpp.why import why as why

_PUBLIC = {
    "load": "vpp.config",
    "point": "vpp.polar",
    "polar": "vpp.polar",
    "draw_rig": "vpp.rig_plot",
    "calibrate": "vpp.calibration",
    "compare": "vpp.compare",
    "crew_worth": "vpp.crew",
    "in_current": "vpp.current",
    "doubt": "vpp.doubt",
    "export": "vpp.exchange.formats",
    "gusts": "vpp.gusts",
    "improve": "vpp.improve",
    "levers": "vpp.levers",
    "WindGrid": "vpp.polar",
    "BoatFileError": "vpp.config",
    "NoEquilibrium": "vpp.solved",
    "keep_on_interrupt": "vpp.solver.stopping",
    "stability": "vpp.stability",
    "sweep": "vpp.sweep",
    "targets": "vpp.targets",
    "why": "vpp.why",
}

__all__ = [
    "BoatFileError", "NoEquilibrium", "WindGrid", "__version__", "calibrate", "compare", "crew_worth",
    "doubt", "draw_rig", "export", "gusts", "improve", "in_current", "keep_on_interrupt", "levers", "load",
    "point", "polar", "stability", "sweep", "targets", "why",
]  # fmt: skip


class _Package(ModuleType):
    """The package, whose functions `polar` and `compare` must outlive the import of the modules of the same
    name.
    """

    def __setattr__(self, name: str, value: Any) -> None:
        # the import system binds every submodule to its package, which would hide a public function behind
        # its module
        if name in _PUBLIC and isinstance(value, ModuleType):
            return
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package


def __getattr__(name: str) -> Any:
    if name not in _PUBLIC:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_PUBLIC[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)

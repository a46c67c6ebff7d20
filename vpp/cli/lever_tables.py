"""What one more unit of everything buys, as the commands print it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from vpp.cli.console import table

if TYPE_CHECKING:
    import pandas as pd

    from vpp.compare import Comparison
    from vpp.config import BoatFile
    from vpp.levers import Lever, Levers
    from vpp.polar import Point

_LOADS = ("drag_n", "side_force_n", "righting_moment_nm", "lift_n", "mass_at_centre_kg")
_HEADER = ("lever", "has", "unit", "kn a unit", "step", "kn a step")
_ONE_SIDED = "* more / less: a limit comes into force or lets go within the step, so that the sides differ"
_SMALL_ONLY = "~ a limit comes into force or lets go within the step: the lever holds for less than that"


def levers_of(boat_file: BoatFile, points: Sequence[Point], *, keys: Sequence[str]) -> list[Levers | str]:
    """Levers of every point, or why it has none; of all keys where none is named. Raises BoatFileError for
    keys that are named and cannot be moved.
    """
    from vpp.config import BoatFileError
    from vpp.levers import NoLevers, levers

    found: list[Levers | str] = []
    for point in points:
        try:
            found.append(levers(boat_file, point, keys=keys or None, hull_waves=False))
        except NoLevers as reason:
            found.append(str(reason))
        except BoatFileError as error:
            if keys:
                raise
            found.append("; ".join(str(problem) for problem in error.problems))
    return found


def told(levers: Levers | str, *, keys: Sequence[str]) -> str:
    """Levers as a paragraph: the loads that matter most and the strongest keys, or those that are named."""
    if isinstance(levers, str):
        return f"No levers: {levers}"
    shown = levers.found if keys else (*_main_loads(levers), *levers.strongest())
    what = "boat speed" if levers.aim == "speed" else f"VMG {levers.aim}"
    title = f"Levers: what one more unit buys in {what}, and what a practical step is worth to first order"
    notes = [
        note
        for note, needed in (
            (_ONE_SIDED, any(_differs(lever) for lever in shown)),
            (_SMALL_ONLY, any(not lever.is_stable and not _differs(lever) for lever in shown)),
        )
        if needed
    ]
    waiting = [name for name, why in levers.left_out.items() if "by name" in why]
    if waiting and not keys:
        notes.append(f"Not among them, for they take a while: {', '.join(waiting)}; ask with --lever.")
    return "\n".join([title, table(_HEADER, [_row(lever) for lever in shown]), *notes])


def shown_frame(found: Sequence[Levers | str], *, keys: Sequence[str]) -> pd.DataFrame:
    """The levers that are told, as a table."""
    import pandas as pd

    from vpp.levers import COLUMNS, Levers

    frames = [
        each.to_frame(each.found if keys else (*each.loads, *each.strongest()))
        for each in found
        if isinstance(each, Levers)
    ]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=list(COLUMNS))


def compared_levers(boat_file: BoatFile, comparison: Comparison) -> list[Levers]:
    """Levers of the base at the middle wind speed, for the best VMG upwind and downwind."""
    from vpp.config import BoatFileError
    from vpp.levers import NoLevers, levers
    from vpp.polar import BEST_VMG

    polar = comparison.polar
    wind, rows = (len(polar.grid.tws_kn) - 1) // 2, len(polar.row_aims)
    found = []
    for aim in BEST_VMG:
        try:
            place = wind * rows + polar.row_aims.index(aim)
            found.append(levers(boat_file, polar.solved, place=place, hull_waves=False))
        except (NoLevers, BoatFileError):
            continue
    return found


def told_compared(found: Sequence[Levers], base: str) -> str:
    """The strongest levers of the base in one table: what a step of each is worth on every course."""
    from vpp.levers import STRONGEST
    from vpp.results.variables import show_number

    worth = [{lever.name: lever.step_gain_kn for lever in each.found if lever.is_choice} for each in found]
    steps = {lever.name: lever for each in found for lever in each.found}
    names = sorted(
        {name for each in found for name in (lever.name for lever in each.strongest())},
        key=lambda name: -max(abs(of.get(name, 0.0)) for of in worth),
    )[:STRONGEST]
    header = ("step", "unit", "lever", *(f"{each.aim} {each.tws_kn:g} kn" for each in found))
    rows = [
        (
            f"{steps[name].step:+.3g}",
            steps[name].unit,
            name,
            *(show_number(of.get(name, float("nan")), decimals=3, signed=True) for of in worth),
        )
        for name in names
    ]
    title = f"The ten strongest levers of {base}: kn of VMG that a step of each buys, to first order"
    return f"{title}\n{table(header, rows, left=3)}"


def _main_loads(levers: Levers) -> list[Lever]:
    return [lever for lever in levers.loads if lever.name in _LOADS]


def _differs(lever: Lever) -> bool:
    return not lever.is_stable and "solved again" in lever.remark


def _row(lever: Lever) -> tuple[str, ...]:
    gain = _number(lever.gain_kn)
    if _differs(lever):
        gain = f"{_number(lever.gain_up_kn)} / {_number(lever.gain_down_kn)}*"
    elif not lever.is_stable:
        gain += "~"
    from vpp.results.variables import show_number

    return (
        lever.name,
        "-" if lever.value != lever.value else f"{lever.value:.4g}",
        lever.unit,
        gain,
        f"{lever.step:.3g}",
        show_number(lever.step_gain_kn, decimals=4, signed=True),
    )


def _number(value: float) -> str:
    return "-" if value != value else f"{value:+.3g}" if value else "0"


def lever_records(levers: Levers | str, *, keys: Sequence[str]) -> dict[str, Any]:
    """The same for JSON."""
    from vpp.results.files import records

    if isinstance(levers, str):
        return {"levers": [], "no_levers": levers}
    return {"levers": records(shown_frame([levers], keys=keys))}

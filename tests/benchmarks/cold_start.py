"""`vpp polar` as whoever just installed the package meets it, and what its imports cost."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

ROOT = Path(__file__).parents[2]
BASE, NO_FIGURES = ("--option", "base"), ("--no-figures",)
# Arguments, and what is on the disk from an earlier run: "none" has no compiled file of any package, "others"
# those that the installer compiled, that is of all packages but this one, "all" what an earlier run left.
HOW: dict[str, tuple[tuple[str, ...], str]] = {
    "first run, figures": ((), "others"),
    "first run, no figures": (NO_FIGURES, "others"),
    "first run, base alone, no figures": ((*BASE, *NO_FIGURES), "others"),
    "later run, figures": ((), "all"),
    "later run, no figures": (NO_FIGURES, "all"),
    "nothing compiled, base alone, no figures": ((*BASE, *NO_FIGURES), "none"),
}
SOME_WITHOUT_RESULT = 3
MOST_MODULES = 15


@dataclass(frozen=True)
class Cold:
    """Conditions of all options, and wall seconds by how it was run."""

    conditions: int
    seconds: Mapping[str, float]


@dataclass(frozen=True)
class Imports:
    """Milliseconds: in all, by package (name, modules, own) and by module (name, own, with what it imports),
    the longest first.
    """

    total: float
    packages: list[tuple[str, int, float]]
    modules: list[tuple[str, float, float]]


def timed(name: str, *, tws: str, twa: str, limit: float) -> Cold:
    """A boat file's polar from a copy of the package, run in every way of `HOW`."""
    seconds = {}
    conditions = 0
    with TemporaryDirectory() as folder:
        there = Path(folder)
        shutil.copytree(ROOT / "vpp", there / "vpp", ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copytree(ROOT / "configs", there / "configs")
        for how, (arguments, left) in HOW.items():
            if left != "all":
                _forget(there)
            command = ["polar", f"configs/{name}.toml", "--tws", tws, "--twa", twa, "--out", "out"]
            begun = perf_counter()
            _run(there, [*command, *arguments], limit, fresh_prefix=left == "none")
            seconds[how] = perf_counter() - begun
            about = json.loads((there / "out" / "about.json").read_text(encoding="utf-8"))
            conditions = max(conditions, sum(about["conditions"].values()))
    return Cold(conditions, seconds)


def import_times(name: str, *, figures: bool) -> Imports:
    """What `vpp polar` imports for one condition, as Python itself times it."""
    with TemporaryDirectory() as folder:
        command = ["polar", str(ROOT / "configs" / f"{name}.toml"), "--option", "base", "--tws", "10"]
        command += ["--twa", "90", "--processes", "1", "--out", str(Path(folder) / "out")]
        command += [] if figures else NO_FIGURES
        for _ in range(2):  # the first run compiles what is not
            told = _run(ROOT, command, 600.0, python=("-X", "importtime")).splitlines()
    lines = [line.removeprefix("import time:").split("|") for line in told if line.startswith("import time:")]
    modules = [(parts[2].strip(), int(parts[0]) / 1e3, int(parts[1]) / 1e3) for parts in lines[1:]]
    packages: defaultdict[str, list[float]] = defaultdict(list)
    for module, own, _ in modules:
        top = module.partition(".")[0]
        packages[top if top in ("vpp", *_HEAVY) else "others"].append(own)
    return Imports(
        total=sum(own for _, own, _ in modules),
        packages=sorted(((top, len(owns), sum(owns)) for top, owns in packages.items()), key=lambda p: -p[2]),
        modules=sorted(modules, key=lambda module: -module[1])[:MOST_MODULES],
    )


_HEAVY = ("numpy", "scipy", "pandas", "matplotlib", "pydantic", "pydantic_core", "typer", "PIL", "rich")


def _forget(there: Path) -> None:
    """Remove what earlier runs left: compiled files, results, and matplotlib's list of fonts."""
    for cache in (*(there / "vpp").rglob("__pycache__"), there / "out", there / "matplotlib"):
        shutil.rmtree(cache, ignore_errors=True)


def _run(
    there: Path,
    command: list[str],
    limit: float,
    *,
    fresh_prefix: bool = False,
    python: tuple[str, ...] = (),
) -> str:
    """Run the command in a folder whose package it then imports; what it says on stderr."""
    environment = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
    if there != ROOT:
        environment["MPLCONFIGDIR"] = str(there / "matplotlib")
    if fresh_prefix:
        shutil.rmtree(there / "compiled", ignore_errors=True)
        environment["PYTHONPYCACHEPREFIX"] = str(there / "compiled")
    ended = subprocess.run(
        [sys.executable, *python, "-m", "vpp", *command],
        cwd=there,
        env=environment,
        capture_output=True,
        text=True,
        timeout=limit,
        check=False,
    )
    if ended.returncode not in (0, SOME_WITHOUT_RESULT):
        raise SystemExit(f"vpp {' '.join(command)} failed:\n{ended.stderr[-3000:]}")
    return ended.stderr

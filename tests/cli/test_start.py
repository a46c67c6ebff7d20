"""Starting the command line: help is quick and complete."""

from __future__ import annotations

import subprocess
import sys

import pytest
from typer.testing import CliRunner

from vpp.cli import app
from vpp.version import __version__


@pytest.mark.parametrize(
    ("words", "allowed"),
    # typer itself reads the type of a command's parameters with pydantic
    [(["--help"], set()), (["--version"], set()), (["compare", "--help"], {"pydantic"})],
)
def test_help_and_version_import_nothing_heavy(words: list[str], allowed: set[str]) -> None:
    code = (
        "import sys\n"
        "from vpp.cli import app\n"
        "try:\n"
        f"    app({words!r}, prog_name='vpp')\n"
        "except SystemExit as end:\n"
        "    assert not end.code, end.code\n"
        "heavy = {'numpy', 'pandas', 'scipy', 'matplotlib', 'pydantic', 'rich'} & set(sys.modules)\n"
        f"print('heavy:', sorted(heavy - {allowed!r}))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "heavy: []"


def test_package_imports_nothing_heavy() -> None:
    code = "import sys, vpp; print(sorted({'numpy', 'pandas', 'typer', 'pydantic'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_module_runs_as_the_command() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "vpp", "--version"], capture_output=True, text=True, check=True
    )
    assert done.stdout == f"vpp {__version__}\n"


@pytest.mark.parametrize("command", ["check", "point", "polar", "compare"])
def test_help_of_each_command_has_an_example(command: str) -> None:
    done = CliRunner().invoke(app, [command, "--help"])
    assert done.exit_code == 0
    assert f"Example: vpp {command} " in done.stdout


def test_help_lists_every_command_whole() -> None:
    done = CliRunner().invoke(app, ["--help"])
    for command in ("check", "point", "polar", "compare"):
        assert f"  {command} " in done.stdout
    commands = done.stdout.split("Commands:")[1]
    assert "..." not in commands

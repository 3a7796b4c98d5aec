"""Rules of the house that a reader relies on: the layout, the size of things, a quick start, help everywhere."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
import typer.main

from journal.cli import load_commands
from journal.cli.app import app

ROOT = Path(__file__).resolve().parent.parent
MODULES = sorted([*ROOT.glob("journal/**/*.py"), *ROOT.glob("analytics/**/*.py")])
HEAVY = ("pandas", "altair", "datasette", "sqlite_utils", "pydantic", "scipy", "numpy")


def test_the_top_level_holds_what_it_should() -> None:
    expected = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "journal", "analytics", "tests", "demo_db"}
    assert expected <= {path.name for path in ROOT.iterdir()}
    assert not {"docs", "scripts", "utils", "src"} & {path.name for path in ROOT.iterdir()}


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_module_is_short_and_says_what_it_is(module: Path) -> None:
    text = module.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 400
    assert text.startswith('"""')
    assert module.stem not in {"utils", "helpers", "common", "misc", "base", "core", "manager"}


def commands() -> list[tuple[str, object]]:
    load_commands()
    found: list[tuple[str, object]] = []

    def walk(command: object, name: str) -> None:
        children = getattr(command, "commands", None)
        found.append((name, command))
        for child, inner in sorted((children or {}).items()):
            walk(inner, f"{name} {child}")

    walk(typer.main.get_command(app), "thirdstop")
    return found


@pytest.mark.parametrize(("name", "command"), commands(), ids=lambda value: value if isinstance(value, str) else "")
def test_every_command_and_option_has_help(name: str, command: object) -> None:
    assert getattr(command, "help", None), name
    for parameter in getattr(command, "params", []):
        if parameter.param_type_name == "option" and not parameter.hidden:
            assert parameter.help, f"{name} {parameter.opts}"


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\nfrom journal.cli import load_commands, run\nload_commands()\nrun(['--help'])\n"
        f"print('LOADED', [name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "LOADED []"


def test_no_file_names_a_place_to_download_from() -> None:
    names = [ROOT / "pyproject.toml", *ROOT.glob("*.lock"), *ROOT.glob(".ci/*")]
    assert not [path for path in names if re.search("://", path.read_text(encoding="utf-8"))]


def test_no_line_of_the_help_is_cut_short() -> None:
    code = "from journal.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", code, "--help"],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "COLUMNS": "80"},
    )
    commands = done.stdout.partition("Commands:")[2].splitlines()
    assert len(commands) > 20
    assert [line for line in commands if "..." in line] == []

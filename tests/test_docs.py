"""The documents agree with the program."""

import ast
import re
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from buzzscan.cli import main

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = sorted(main.commands)


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_has_help_and_stands_in_the_readme(name: str) -> None:
    result = CliRunner().invoke(main, [name, "--help"])
    assert result.exit_code == 0
    assert len(main.commands[name].help or "") > 30
    assert f"buzzscan {name}" in README


@pytest.mark.parametrize("name", COMMANDS)
def test_each_option_has_help(name: str) -> None:
    for parameter in main.commands[name].params:
        if isinstance(parameter, click.Option) and parameter.name not in {"help", "out"}:
            assert parameter.help, f"{name} --{parameter.name}"


def test_readme_has_two_set_up_commands() -> None:
    blocks = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    setups = [b.strip() for b in blocks if "venv" in b]
    assert len(setups) == 2
    assert all(len(b.splitlines()) == 1 for b in setups)


def test_the_job_tops_the_readme() -> None:
    first = README.split("\n\n")[1]
    assert first.startswith("After a fret level or a setup")


def test_what_the_readme_names_is_there() -> None:
    for path in re.findall(r"(?:recordings|reports)/[\w.-]+\.\w+", README):
        assert (ROOT / path).is_file(), path


def _public_without_docstring(path: Path) -> list[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    missing = [] if ast.get_docstring(tree) else [str(path)]
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name.startswith("_"):
            continue
        if not ast.get_docstring(node):
            missing.append(f"{path.name}: {node.name}")
        if isinstance(node, ast.ClassDef):
            missing += [
                f"{path.name}: {node.name}.{item.name}"
                for item in node.body
                if isinstance(item, ast.FunctionDef)
                and not item.name.startswith("_")
                and not ast.get_docstring(item)
                and not any("overload" in ast.dump(d) for d in item.decorator_list)
            ]
    return missing


def test_public_names_are_documented() -> None:
    missing = [
        name
        for path in sorted((ROOT / "buzzscan").rglob("*.py"))
        for name in _public_without_docstring(path)
    ]
    overloads = {"units.py: amplitude_to_db", "units.py: power_to_db"}
    assert [m for m in missing if m not in overloads] == []

"""The documents agree with the program.

Run with BUZZSCAN_WRITE_DOCS=1 to put what the program prints into the README.
"""

from __future__ import annotations

import ast
import os
import re
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import buzzscan
from buzzscan.cli import main
from buzzscan.guitar import guitar_from_mapping
from buzzscan.neck.verdict import Bars
from buzzscan.scanfile import read_scan
from buzzscan.scanning import Scan

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
COMMANDS = sorted(main.commands)
BLOCK = r"(<!-- output: {} -->\n)(.*?)(<!-- end -->)"


# Commands


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_has_help_and_stands_in_the_readme(name: str) -> None:
    result = CliRunner().invoke(main, [name, "--help"])
    assert result.exit_code == 0
    assert len(main.commands[name].help or "") > 30
    assert f"### `buzzscan {name} " in README


@pytest.mark.parametrize("name", COMMANDS)
def test_each_option_has_help_and_stands_with_its_command(name: str) -> None:
    (section,) = re.findall(rf"^### `buzzscan {name} .*?(?=^##)", README, re.DOTALL | re.MULTILINE)
    for parameter in main.commands[name].params:
        if isinstance(parameter, click.Option) and parameter.name != "help":
            assert parameter.help, f"{name} --{parameter.name}"
            assert parameter.opts[0] in section, f"{name} {parameter.opts[0]}"


def test_readme_names_no_option_that_is_not_there() -> None:
    known = {o for c in main.commands.values() for p in c.params for o in p.opts}
    text = re.sub(r"```sh.*?```", "", README, flags=re.DOTALL)
    named = set(re.findall(r"`(--[a-z-]+)", text))
    assert named - known - {"--help"} == set()


# The README


def _set_ups() -> list[str]:
    blocks = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    return [b.strip() for b in blocks if "venv" in b]


def test_readme_has_two_set_up_commands() -> None:
    setups = _set_ups()
    assert len(setups) == 2
    assert all(len(b.splitlines()) == 1 for b in setups)
    assert all(b.startswith("python3 -m venv .venv && ") for b in setups), "from a fresh clone"
    assert "buzzscan scan recordings/before.flac" in setups[0]
    assert re.search(r"/pytest( |$)", setups[1])


def test_continuous_checks_run_what_the_readme_says() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert script.count('bash -euo pipefail -c "$(from_readme ') == 2
    assert os.access(ROOT / ".ci" / "run", os.X_OK)


def test_the_job_tops_the_readme() -> None:
    first = README.split("\n\n")[1]
    assert first.startswith("After a fret level or a setup")
    assert "\n\n" not in first


def test_what_the_documents_name_is_there() -> None:
    for path in re.findall(r"(?:recordings|reports)/[\w.-]+\.\w+", README):
        assert (ROOT / path).is_file(), path
    for path in re.findall(r"\]\(([\w./-]+)\)", README):
        assert (ROOT / path).exists(), path
    for path in re.findall(r"`((?:tests/|measures/|neck/|report/|\.ci/)[\w./-]+)`", DEVELOPERS):
        assert any((base / path).exists() for base in (ROOT, ROOT / "buzzscan")), path


def test_bars_in_the_readme_are_those_of_the_program() -> None:
    bars = Bars()
    table = README.split("## The bars")[1].split("##")[0]
    assert f"−{-bars.buzz_db:.0f} dB" in table
    assert f"{bars.pitch_cents:.0f} cents" in table
    assert f"{bars.short_ratio:g} and {bars.dead_ratio:g} times" in table
    assert bars.heard in table


def test_guitar_file_of_the_readme_is_one() -> None:
    import tomllib

    (text,) = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    assert guitar_from_mapping(tomllib.loads(text)).action_12_mm is not None


def test_python_of_the_readme_runs(
    reports: Path,
    printed: dict[str, str],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """On the recordings it names; the after take, scanned before, is read to save the time."""
    (text,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    scan_take = buzzscan.scan

    def scan(recording: str, guitar: str) -> Scan:
        stored = read_scan(reports / Path(recording).stem)
        assert Path(guitar).is_file()
        return stored if recording.endswith("after.flac") else scan_take(recording, guitar)

    monkeypatch.chdir(ROOT)
    monkeypatch.setattr(buzzscan, "scan", scan)
    exec(compile(text, "README.md", "exec"), {})  # noqa: S102 - our own document
    *findings, summary = capsys.readouterr().out.splitlines()
    assert len(findings) == len(re.findall(r"^\d\. ", printed["scan"], re.MULTILINE))
    assert summary.split(".")[0] in " ".join(printed["compare"].split())


# What it prints


@pytest.fixture(scope="module")
def reports(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder that the README's commands write to."""
    return tmp_path_factory.mktemp("reports")


@pytest.fixture(scope="module")
def printed(reports: Path) -> dict[str, str]:
    """Return what the README's commands print, by the name of the command."""
    out = reports
    guitar = str(ROOT / "recordings" / "guitar.toml")

    def run(*words: str) -> str:
        result = CliRunner().invoke(main, list(words))
        assert result.exit_code == 0, result.output
        return str(result.stdout)

    texts = {
        name: run(
            "scan",
            str(ROOT / "recordings" / f"{name}.flac"),
            "--guitar",
            guitar,
            "--out",
            str(out / name),
        )
        for name in ("before", "after")
    }
    return {
        "scan": texts["before"],
        "compare": run(
            "compare", str(out / "before"), str(out / "after"), "--out", str(out / "compare")
        ),
    }


COMMAND_LINES = {
    "scan": "buzzscan scan recordings/before.flac --guitar recordings/guitar.toml "
    "--out reports/before",
    "compare": "buzzscan compare reports/before reports/after",
}


@pytest.mark.parametrize("name", sorted(COMMAND_LINES))
def test_readme_shows_what_is_printed(name: str, printed: dict[str, str]) -> None:
    """Maps and titles word for word, all else but for numbers, which differ between machines."""
    block = f"```text\n$ {COMMAND_LINES[name]}\n{_shortened(printed[name])}\n```\n"
    if os.environ.get("BUZZSCAN_WRITE_DOCS"):
        text = (ROOT / "README.md").read_text(encoding="utf-8")
        text = re.sub(BLOCK.format(name), lambda m: m[1] + block + m[3], text, flags=re.DOTALL)
        (ROOT / "README.md").write_text(text, encoding="utf-8")
    else:
        (shown,) = re.findall(BLOCK.format(name), README, re.DOTALL)
        assert shown[1].startswith(block.split("\n\n", maxsplit=1)[0].rsplit("\n", 1)[0])
        assert _telling(shown[1]) == _telling(block)
        assert _masked(shown[1]) == _masked(block)
        assert len(_telling(block)) >= 7, "a map of six strings and a finding"


def _shortened(text: str) -> str:
    """Return what is printed without the third finding and those after it."""
    paragraphs = text.rstrip().split("\n\n")
    kept = [p for p in paragraphs if not re.match(r"([3-9]|\d\d)\. ", p)]
    at = next((i for i, p in enumerate(paragraphs) if p.startswith("3. ")), None)
    if at is not None:
        kept.insert(at, "...")
    return "\n\n".join(kept)


def _telling(text: str) -> list[str]:
    """Return the maps and the titles of the findings, which tell what was heard."""
    rows = re.findall(r"^\d [A-G].*$", text, re.MULTILINE)
    titles = re.findall(r"^\d\. [\w ]+(?:: fret \d+)?", text, re.MULTILINE)
    return [" ".join(line.split()) for line in rows + titles]


def _masked(text: str) -> str:
    """Return text without the values of its numbers and without its line breaks."""
    return " ".join(re.sub(r"[-+]?\d+(?:[.:]\d+)*", "#", text).split())


def test_a_word_that_the_program_does_not_print_is_noticed() -> None:
    printed = "1. high fret: fret 9, height 0.22 mm (0.12 to\n   0.29 mm)"
    assert _masked(printed) == _masked("1. high fret: fret 9, height 0.2 mm (0.1 to 0.34\n   mm)")
    assert _masked(printed) != _masked(printed.replace("height", "size"))


# The code


def _public_without_docstring(path: Path) -> list[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    missing = [] if ast.get_docstring(tree) else [str(path)]
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name.startswith("_"):
            continue
        if not ast.get_docstring(node) and not _is_declaration(node):
            missing.append(f"{path.name}: {node.name}")
        if isinstance(node, ast.ClassDef):
            missing += [
                f"{path.name}: {node.name}.{item.name}"
                for item in node.body
                if isinstance(item, ast.FunctionDef)
                and not item.name.startswith("_")
                and not ast.get_docstring(item)
                and not _is_declaration(item)
            ]
    return missing


def _is_declaration(node: ast.FunctionDef | ast.ClassDef) -> bool:
    """Return whether the body is "..." alone: an overload, or a member of a protocol."""
    body = node.body[0]
    return (
        len(node.body) == 1
        and isinstance(body, ast.Expr)
        and isinstance(body.value, ast.Constant)
        and body.value.value is Ellipsis
    )


def _modules() -> list[Path]:
    return sorted((ROOT / "buzzscan").rglob("*.py"))


def test_public_names_are_documented() -> None:
    assert [name for path in _modules() for name in _public_without_docstring(path)] == []


def test_the_docstring_test_can_fail(tmp_path: Path) -> None:
    module = tmp_path / "bare.py"
    module.write_text('"""M."""\ndef f(): pass\nclass C:\n    """C."""\n    def g(self): pass\n')
    assert _public_without_docstring(module) == ["bare.py: f", "bare.py: C.g"]


@pytest.mark.parametrize("path", _modules(), ids=lambda p: str(p.relative_to(ROOT)))
def test_modules_open_with_conventions_and_limits(path: Path) -> None:
    text = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    if path.name != "__main__.py":
        assert "Conventions\n-----------" in text
        assert "Limits\n------" in text
    assert text.split("\n")[0].endswith((".", ":"))

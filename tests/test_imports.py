"""Imports point one way, and heavy packages stay where they belong."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

import buzzscan

ROOT = Path(buzzscan.__file__).parent

LAYERS = (
    ("errors", "spans", "units"),
    ("guitar", "jsonfile", "recording", "outputs"),
    ("partials",),
    ("notes",),
    ("measures",),
    ("neck",),
    ("scanning",),
    ("scanfields", "scanfile", "comparison", "comparefile", "history", "repeating", "reports"),
    ("plots",),
    ("report",),
    ("jobs",),
    ("cli",),
    ("__main__",),
)
"""Lowest first. A module imports from its own layer and from those before it."""
RANK = {name: rank for rank, layer in enumerate(LAYERS) for name in layer}

SIMULATE_MAY_IMPORT = {"errors", "units", "guitar", "recording", "outputs", "simulate", ""}
MAY_IMPORT_SIMULATE = {"simulate", "cli"}
ONLY_IN = {
    "click": {"cli"},
    "matplotlib": {"plots", "report"},
    "jinja2": {"report"},
    "soundfile": {"recording", "simulate", "report"},
    "librosa": set(),
    "numba": {"simulate"},
    "tomllib": {"guitar", "simulate"},
}
MAY_OPEN_WITH = {("report", "jinja2"), ("simulate", "numba")}
"""Compiled functions need their decorator at the top; commands import the simulator late."""
IMPORTED_LATE = {"printed_lines.py"}
"""A class of matplotlib's kind; only what draws imports it, within a function."""
HEAVY = ("librosa", "matplotlib", "numba", "soundfile", "jinja2")


def modules() -> list[Path]:
    return sorted(ROOT.rglob("*.py"))


def part_of(path: Path) -> str:
    """Return the sub-package or module that a file belongs to; empty for the package itself."""
    first = path.relative_to(ROOT).parts[0].removesuffix(".py")
    return "" if first == "__init__" else first


def imports_in(path: Path) -> Iterator[tuple[str, bool]]:
    """Yield dotted names that a file imports, and whether at the top of the module."""
    tree = ast.parse(path.read_text("utf-8"))
    top = {id(node) for node in tree.body}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, id(node) in top
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import"
            assert node.module is not None
            yield node.module, id(node) in top
            if node.module == "buzzscan":
                for alias in node.names:
                    yield f"buzzscan.{alias.name}", id(node) in top


def own_imports(path: Path) -> set[str]:
    """Return the parts of this package that a file imports."""
    names = (name.split(".") for name, _ in imports_in(path))
    return {parts[1] for parts in names if parts[0] == "buzzscan" and len(parts) > 1}


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_point_one_way(path: Path) -> None:
    part = part_of(path)
    wanted = own_imports(path)
    if part == "simulate":
        assert wanted <= SIMULATE_MAY_IMPORT
        return
    if part:
        assert part in RANK, f"{part} has no layer: add it to the table"
    if part not in MAY_IMPORT_SIMULATE:
        assert "simulate" not in wanted, "analysis must not know the simulator"
    if not part:  # the package only points to its public names
        return
    for other in wanted - {"simulate"}:
        if other in RANK:
            assert RANK[other] <= RANK[part], f"{part} imports {other}, which lies above it"
        else:
            assert other.startswith("__"), f"{other} has no layer: add it to the table"


def test_the_direction_test_can_fail(tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.py"
    wrong.write_text("def f():\n    from buzzscan.report import view\n", "utf-8")
    assert own_imports(wrong) == {"report"}
    assert RANK["report"] > RANK["guitar"]


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(ROOT)))
def test_packages_stay_where_they_belong(path: Path) -> None:
    part = part_of(path)
    for name, at_top in imports_in(path):
        package = name.split(".")[0]
        if package in ONLY_IN:
            assert part in ONLY_IN[package], f"{part} imports {package}"
        assert "pyplot" not in name, "use Figure(), which keeps no global state"
        late = path.name in IMPORTED_LATE or (part, package) in MAY_OPEN_WITH
        if package in HEAVY and not late:
            assert not at_top, f"{path.name} imports {package} before it is needed"


def test_packages_are_declared() -> None:
    """What another package happens to bring along may be gone with its next version."""
    project = tomllib.loads((ROOT.parent / "pyproject.toml").read_text("utf-8"))["project"]
    declared = {re.split(r"[<>=]", item)[0] for item in project["dependencies"]}
    wanted = {name.split(".")[0] for path in modules() for name, _ in imports_in(path)}
    assert wanted - set(sys.stdlib_module_names) - {"buzzscan"} <= declared


def test_no_module_is_a_drawer() -> None:
    assert not {p.stem for p in modules()} & {"utils", "util", "misc", "common", "helpers"}


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\n"
        "from buzzscan.cli import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        f"print([m for m in {('numpy', 'scipy', *HEAVY)!r} if m in sys.modules], file=sys.stderr)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stderr.strip() == "[]"
    assert "scan" in run.stdout


def test_public_names_are_reached_from_the_package() -> None:
    for name in buzzscan.__all__:
        assert getattr(buzzscan, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        buzzscan.nonsense  # noqa: B018

"""What every package and module of the program keeps to."""

from __future__ import annotations

import ast
import statistics
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = sorted(p for room in ("sim", "viz") for p in (ROOT / room).rglob("__init__.py"))
MEDIAN_MODULE, LONGEST_MODULE, LONGEST_FUNCTION = 140, 335, 80
#: The keys of a scenario are one list; no other module may join it.
LONGER = {"sim/scenario/schema.py"}


@pytest.mark.parametrize("path", PACKAGES, ids=lambda p: str(p.parent.relative_to(ROOT)))
def test_a_package_says_its_job_in_its_first_line(path):
    said = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    first = said.splitlines()[0] if said else ""
    assert "placeholder" not in first.lower()
    assert len(first.split()) >= 5, f"{path.parent.name}: say what it is for"
    assert first.endswith((".", "!", "?"))


def test_every_package_is_installed():
    import tomllib

    with (ROOT / "pyproject.toml").open("rb") as file:
        told = set(tomllib.load(file)["tool"]["setuptools"]["packages"])
    there = {"beltspring." + ".".join(p.parent.relative_to(ROOT).parts) for p in PACKAGES}
    assert there | {"beltspring.scenarios"} == told


def sources(room: str) -> list[Path]:
    """Every module of sim or viz, but for the script that draws the README's pictures."""
    return sorted(p for p in (ROOT / room).rglob("*.py") if p.parent.name != "gallery")


@pytest.mark.parametrize("room", ["sim", "viz"])
def test_modules_are_short(room):
    lines = {p: len(p.read_text(encoding="utf-8").splitlines()) for p in sources(room)}
    modules = [n for p, n in lines.items() if p.name != "__init__.py"]
    assert statistics.median(modules) <= MEDIAN_MODULE
    long = {str(p.relative_to(ROOT)): n for p, n in lines.items() if n > LONGEST_MODULE}
    assert set(long) <= LONGER


@pytest.mark.parametrize("room", ["sim", "viz"])
def test_functions_are_short(room):
    long = {
        f"{p.relative_to(ROOT)}:{node.lineno} {node.name}": node.end_lineno - node.lineno + 1
        for p in sources(room)
        for node in ast.walk(ast.parse(p.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef) and node.end_lineno - node.lineno + 1 > LONGEST_FUNCTION
    }
    assert not long


#: Records that are filled or changed as they go; all others are made once and stay as they are.
FILLED = {
    "Rows", "State", "Extremes", "KeepAll", "_Entry", "Words", "Block", "Stretch", "MotionPlan", "Pieces", "Segments",
    "Layered", "_One", "Trace",
}  # fmt: skip


def test_records_of_the_engine_are_frozen():
    """What is made once and never changed may be shared by threads, kept, and told apart by its content."""
    loose = set()
    for path in sources("sim"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            said = [ast.unparse(d) for d in node.decorator_list] if isinstance(node, ast.ClassDef) else []
            loose |= {node.name for d in said if d.startswith("dataclass") and "frozen=True" not in d}
    assert loose == FILLED

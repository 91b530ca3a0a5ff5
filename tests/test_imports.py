"""Data flows one way, and the imports prove it: each room of the engine imports only rooms to its left."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

SIM = Path(__file__).resolve().parents[1] / "sim"
VIZ = SIM.parent / "viz"

# The chain of the rooms, then what asks questions of whole runs. plan.py and trace.py are records that others read.
CHAIN = (
    "errors",
    "practice",
    "caches",
    "linking",
    "finished",
    "finishing",
    "compiling",
    "beside",
    "files",
    "compiled",
    "scenario",
    "parts",
    "machine",
    "model",
    "plan",
    "simulate",
    "trace",
    "analyse",
    "chain",
    "check",
    "order",
    "study",
)
# trace.py is a leaf: a record that the simulator fills.
EARLIER = {"simulate": {"trace"}}
MODULES = sorted(SIM.rglob("*.py"))


def room(path: Path) -> str:
    """The room a module of sim belongs to; "sim" for the package itself."""
    first = path.relative_to(SIM).parts[0]
    return first.removesuffix(".py") if first != "__init__.py" else "sim"


def imported_rooms(path: Path) -> set[str]:
    """Rooms of sim that a module imports, and "viz" if it imports that; conditional and late imports included."""
    found = set()
    package = list(path.relative_to(SIM).parts[:-1])
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.level:
            above = package[: len(package) - (node.level - 1)]
            assert node.level - 1 <= len(package), f"{path}: {'.' * node.level}{node.module or ''} leaves sim"
            inner = above + (node.module.split(".") if node.module else [])
            found |= {inner[0]} if inner else {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom | ast.Import):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else [a.name for a in node.names]
            for name in names:
                parts = name.split(".")
                if parts[:2] == ["beltspring", "sim"]:
                    found.add(parts[2] if len(parts) > 2 else "sim")
                elif parts[0] in ("viz", "sim", "scenarios") or parts[:2] == ["beltspring", "viz"]:
                    found.add(parts[0] if parts[0] != "beltspring" else "viz")
    return found


def test_there_is_something_to_check():
    assert len(MODULES) > 20
    assert {room(path) for path in MODULES} - {"sim"} <= set(CHAIN), "a room the chain does not know"
    assert "scenario" in imported_rooms(SIM / "chain" / "chain.py")


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(SIM)))
def test_a_room_imports_only_what_lies_to_its_left(path):
    mine = room(path)
    if mine == "sim":
        return  # the front door names every room, and loads none before it is asked: tests/test_front_door.py
    allowed = set(CHAIN[: CHAIN.index(mine) + 1]) | EARLIER.get(mine, set())
    wrong = imported_rooms(path) - allowed
    assert not wrong, f"{path.relative_to(SIM)} imports {', '.join(sorted(wrong))}, which lies to the right of {mine}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(SIM)))
def test_the_engine_prints_and_draws_nothing(path):
    drawing = {"pygame", "rich", "matplotlib", "PIL", "av"}
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in ("print", "input"), f"{path.name}:{node.lineno} prints"
        if isinstance(node, ast.Import):
            assert not drawing & {a.name.split(".")[0] for a in node.names}, f"{path.name}:{node.lineno} draws"
        if isinstance(node, ast.ImportFrom) and not node.level:
            assert (node.module or "").split(".")[0] not in drawing, f"{path.name}:{node.lineno} draws"


def test_help_and_the_command_list_load_no_engine():
    # The command line answers `--help` at once: none of the heavy libraries is loaded by importing it.
    import subprocess
    import sys

    code = (
        "import sys, beltspring.viz.cli; "
        "print([m for m in ('numba', 'scipy', 'pygame', 'pydantic') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"

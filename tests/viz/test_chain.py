"""The rooms of viz import only rooms to their left, and no module is in a ring of imports, type-only ones included."""

from __future__ import annotations

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

VIZ = Path(__file__).resolve().parents[2] / "viz"
MODULES = sorted(p for p in VIZ.rglob("*.py") if p.parent.name != "gallery")

CHAIN = ("files", "draw", "svg", "terminal", "charts", "pages", "html", "window", "film", "commands", "dispatch", "cli")
CHAIN_OF_WINDOW = (
    *(
        "keys",
        "memory",
        "screen_there",
        "controls",
        "clock",
        "sound",
        "jobs",
        "runs",
        "watched",
        "session",
        "settings",
        "differences",
        "fleet",
        "verdicts",
    ),
    *(
        "input",
        "stage",
        "filming",
        "film_parts",
        "film_page",
        "sheets",
        "screens",
        "film_bench",
        "film_compare",
        "film_moves",
        "film_print",
        "film_pages",
        "chrome",
        "presenting",
        "cards",
        "lessons",
        "clock_bar",
        "top_bar",
        "frame",
        "pictures",
        "deck",
        "commands",
        "app",
        "run",
    ),
)


def name_of(path: Path) -> tuple[str, ...]:
    """("window", "screens", "mixing"); a package is named by its folder."""
    parts = path.relative_to(VIZ).with_suffix("").parts
    return parts[:-1] if parts[-1] == "__init__" else parts


NAMES = {name_of(path) for path in MODULES}


def imported(path: Path) -> set[tuple[str, ...]]:
    """The modules of viz that a module imports anywhere in it."""
    package = path.relative_to(VIZ).parts[:-1]
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            if node.level:
                assert node.level - 1 <= len(package), f"{path}: line {node.lineno} leaves viz"
                base = (*package[: len(package) - node.level + 1], *(node.module or "").split("."))
            elif (node.module or "").startswith("beltspring.viz"):
                base = tuple((node.module or "").split(".")[2:])
            else:
                continue
            base = tuple(part for part in base if part)
            below = {(*base, alias.name) for alias in node.names} & NAMES
            found |= below or {base}
        elif isinstance(node, ast.Import):
            for alias in node.names:
                assert not alias.name.startswith("beltspring.viz"), f"{path}: imports inside viz are relative"
    return found


def wrong(chain: tuple[str, ...], mine: str, others: set[str]) -> set[str]:
    return others - set(chain[: chain.index(mine) + 1])


def test_the_chains_name_every_room():
    top = {name[0] for name in NAMES if name} - {"__main__"}
    assert top == set(CHAIN)
    assert {name[1] for name in NAMES if name[:1] == ("window",) and len(name) > 1} == set(CHAIN_OF_WINDOW)


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(VIZ)))
def test_a_room_imports_only_what_lies_to_its_left(path):
    name = name_of(path)
    if name in ((), ("__main__",)):
        return
    others = imported(path)
    assert not wrong(CHAIN, name[0], {other[0] for other in others if other})
    if name[0] == "window" and len(name) > 1:
        inner = {other[1] for other in others if other[0] == "window" and len(other) > 1}
        assert not wrong(CHAIN_OF_WINDOW, name[1], inner)


#: Of the engine, beside its front door: the places of a machine, which drawings need.
DRAWN = ("beltspring.sim.machine.machine", "beltspring.sim.machine.routing")


def of_the_engine(path: Path) -> set[str]:
    """The modules of the engine that a module imports anywhere in it, late and type-only imports included."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and not node.level:
            found.add(node.module or "")
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return {name for name in found if name.split(".")[:2] == ["beltspring", "sim"]}


@pytest.mark.parametrize("path", sorted(VIZ.rglob("*.py")), ids=lambda p: str(p.relative_to(VIZ)))
def test_the_engine_is_entered_by_its_front_door(path):
    assert of_the_engine(path) <= {"beltspring.sim", *DRAWN}


def test_the_front_door_is_used_and_every_name_of_it_is_there():
    import beltspring.sim as door

    taken = set()
    for path in VIZ.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module == "beltspring.sim" and not node.level:
                taken |= {alias.name for alias in node.names}
    assert len(taken) > 30
    assert taken <= set(door.__all__), "a room of the engine is no name of its door"


def test_no_ring_of_imports():
    graph = {name_of(path): imported(path) - {name_of(path)} for path in MODULES}
    assert sum(map(len, graph.values())) > 200, "imports are not seen"
    try:
        tuple(TopologicalSorter(graph).static_order())
    except CycleError as ring:
        raise AssertionError(" <- ".join(".".join(name) for name in ring.args[1])) from None

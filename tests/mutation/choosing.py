"""Which tests are asked about a fault, and in which order."""

from __future__ import annotations

import re
from collections import defaultdict
from functools import cached_property
from pathlib import Path
from typing import Any

from tests.test_imports import CHAIN

from .faults import Fault
from .loading import ROOT
from .serving import rows_of

#: The rooms that everything stands on are told of as one.
GROUND = CHAIN[: CHAIN.index("scenario")]

#: Tests that hold the engine to its own numbers of before: asked last, and told apart.
LAST = "tests/golden/"


def modules(rooms: list[str]) -> list[Path]:
    """Modules of those rooms of the engine, all rooms where none is named."""
    found = sorted(p for p in (ROOT / "sim").rglob("*.py") if p.name != "__init__.py")
    return [p for p in found if not rooms or room_of(p) in rooms]


def room_of(module: Path) -> str:
    """The folder of a module under sim, or its own name; one name for the small ones that all stands on."""
    name = module.relative_to(ROOT / "sim").parts[0].removesuffix(".py")
    return "ground" if name in GROUND else name


class Record:
    """What was recorded of the tests; the last row of each counts."""

    def __init__(self, path: Path, files: list[str]) -> None:
        """Of the tests in those files only."""
        self.rows: dict[str, dict[str, Any]] = {row["test"]: row for row in rows_of(path)}
        self.by_import = self.rows.pop("", {"touched": {}})["touched"]
        asked = {str(Path(file).relative_to(ROOT)) for file in files}
        self.rows = {
            test: row for test, row in self.rows.items()
            if row["ok"] and row["touched"] and test.partition("::")[0] in asked
        }  # fmt: skip

    @cached_property
    def _touching(self) -> dict[str, list[tuple[int, str]]]:
        """By module, (lines as bits, test)."""
        found = defaultdict(list)
        for test, row in self.rows.items():
            for module, bits in row["touched"].items():
                found[module].append((int(bits, 16), test))
        return found

    @cached_property
    def _ranks(self) -> dict[str, float]:
        """Quick tests that touch little first; the many variants of one test apart from each other."""
        ranks, variants = {}, defaultdict(int)
        for test, row in sorted(self.rows.items(), key=lambda x: x[1]["s"]):
            name = test.partition("[")[0]
            variants[name] += 1
            lines = sum(int(bits, 16).bit_count() for bits in row["touched"].values())
            ranks[test] = (0.02 + row["s"]) * (200 + lines) * variants[name]
            if test.startswith(LAST):
                ranks[test] *= 1e6
        return ranks

    def tests(self, module: Path, fault: Fault, patience: float) -> list[tuple[str, float]]:
        """(test, seconds) of those that run the fault's statement, best first, together no longer than that. What runs
        as the module is imported is asked about where its names are used."""
        name = str(module.relative_to(ROOT))
        found = self._those_touching(name, _bits(fault))
        if fault.names or self.run_by_import(module, fault):
            for other, lines in _mentions(fault.names).items():
                found |= self._those_touching(other, lines)
            if not found:
                found = self._those_touching(name, -1)
        own = f"tests/{room_of(module)}/"
        chosen, left = [], patience
        for test in sorted(found, key=lambda x: self._ranks[x] * (0.3 if x.startswith(own) else 1)):
            seconds = self.rows[test]["s"]
            if seconds <= left or not chosen:
                chosen.append((test, seconds))
                left -= seconds
        return chosen

    def run_by_import(self, module: Path, fault: Fault) -> bool:
        """Whether the fault's statement is run as modules are imported, by itself or in a function called then."""
        return bool(int(self.by_import.get(str(module.relative_to(ROOT)), "0"), 16) & _bits(fault))

    def _those_touching(self, module: str, bits: int) -> set[str]:
        return {test for touched, test in self._touching.get(module, []) if touched & bits}


def _bits(fault: Fault) -> int:
    """Its statement's lines."""
    first, last = fault.lines
    return ((1 << (last - first + 1)) - 1) << first


def _mentions(names: tuple[str, ...]) -> dict[str, int]:
    """By module, the lines where any of these names stands, as bits."""
    if not names:
        return {}
    wanted = re.compile(rf"\b({'|'.join(map(re.escape, names))})\b")
    found: dict[str, int] = {}
    for path in modules([]):
        text = path.read_text(encoding="utf-8")
        if wanted.search(text):
            lines = (i for i, line in enumerate(text.splitlines(), 1) if wanted.search(line))
            found[str(path.relative_to(ROOT))] = sum(1 << i for i in lines)
    return found

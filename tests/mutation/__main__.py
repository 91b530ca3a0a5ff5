"""Run the campaign. See the package's head for how."""

from __future__ import annotations

import argparse
import math
import os
import random
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import Queue

from .faults import Fault, faults, with_fault

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = ("sim", "viz", "scenarios", "tests")
#: Rooms of tests that hold more than the room of their own name.
SHARED = ("outside", "full", "properties")
#: A fault that makes a test hang is noticed too: seconds of the processor's, or ten times that of waiting.
LONGEST_S = 300


def modules(rooms: list[str]) -> list[Path]:
    """Modules of those rooms of the engine, all rooms where none is named."""
    found = sorted(p for p in (ROOT / "sim").rglob("*.py") if p.name != "__init__.py")
    return [p for p in found if not rooms or room_of(p) in rooms]


def room_of(module: Path) -> str:
    """The folder of a module under sim, or its own name."""
    return module.relative_to(ROOT / "sim").parts[0].removesuffix(".py")


def tests_of(module: Path) -> list[str]:
    """The mirrored folder, those tests first that name the module, and what of the shared rooms imports it by name."""
    room = room_of(module)
    dotted = ".".join(module.relative_to(ROOT).with_suffix("").parts)
    parent, stem = (re.escape(part) for part in (dotted.rpartition(".")[0], module.stem))
    named = re.compile(rf"beltspring\.{re.escape(dotted)}\b|from beltspring\.{parent} import [^\n]*\b{stem}\b")

    def names_it(path: Path) -> bool:
        return path.stem == f"test_{module.stem}" or bool(named.search(path.read_text(encoding="utf-8")))

    if module.parent == ROOT / "sim":
        # A leaf has no folder of its own: whatever test names it.
        return [str(p.relative_to(ROOT)) for p in sorted((ROOT / "tests").rglob("test_*.py")) if names_it(p)]
    out = sorted((ROOT / "tests" / room).rglob("test_*.py"), key=lambda path: not names_it(path))
    for folder in SHARED:
        out += [path for path in sorted((ROOT / "tests" / folder).glob("test_*.py")) if names_it(path)]
    return [str(path.relative_to(ROOT)) for path in out]


def _limited() -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (LONGEST_S, LONGEST_S))


class Bench:
    """A copy of the tree in which one fault at a time is tried."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name in FOLDERS:
            shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(ROOT / "pyproject.toml", folder)
        shutil.copy(ROOT / "README.md", folder)
        package = folder / "names" / "beltspring"
        package.mkdir(parents=True)
        (package / "__init__.py").write_text("")
        for name in FOLDERS[:3]:
            (package / name).symlink_to(folder / name)
        self.environment = {
            **os.environ,
            "PYTHONPATH": os.pathsep.join((str(folder / "names"), str(folder))),
            "PYTHONDONTWRITEBYTECODE": "1",
            "BELTSPRING_CACHE": str(folder / "cache"),
        }

    def noticed(self, module: Path, number: int | None) -> bool:
        """Whether the tests of a module fail with a fault in it (None: with none)."""
        place = self.folder / module.relative_to(ROOT)
        sound = place.read_text(encoding="utf-8")
        try:
            if number is not None:
                place.write_text(with_fault(sound, number), encoding="utf-8")
            command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests_of(module)]
            done = subprocess.run(
                command, cwd=self.folder, env=self.environment, capture_output=True, timeout=10 * LONGEST_S, check=False,
                preexec_fn=_limited, text=True,
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            return True
        finally:
            place.write_text(sound, encoding="utf-8")
        if done.returncode != 0 and number is None:
            print(done.stdout[-600:], file=sys.stderr)
        return done.returncode != 0


def sound(benches: Queue[Bench], of: list[Path]) -> bool:
    """Whether all tests of these modules pass without a fault: else every fault would count as noticed."""
    bench = benches.get()
    try:
        different = {frozenset(tests_of(module)): module for module in of}
        return not any(bench.noticed(module, None) for module in different.values())
    finally:
        benches.put(bench)


def told(module: Path, fault: Fault) -> str:
    """A fault in one line."""
    return f"{module.relative_to(ROOT)}:{fault.line}: {fault.words}"


def interval(noticed: int, of: int) -> tuple[float, float]:
    """Wilson's interval of a share at 95 % (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927, from memory)."""
    z, p = 1.96, noticed / of
    middle = (p + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of))
    return middle - half, middle + half


def main() -> int:
    """Sample, try, tell."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("rooms", nargs="*")
    parser.add_argument("--faults", type=int, default=150, help="how many a room")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--list", type=Path, help="a file for the survivors")
    parser.add_argument(
        "--again", type=Path, help="try only the survivors in such a file, as far as their lines are there"
    )
    wanted = parser.parse_args()
    by_room: dict[str, list[tuple[Path, Fault]]] = {}
    for module in modules(wanted.rooms):
        found = [(module, fault) for fault in faults(module.read_text(encoding="utf-8"))]
        by_room.setdefault(room_of(module), []).extend(found)
    if not by_room:
        print(f"no such room; there are {', '.join(sorted({room_of(m) for m in modules([])}))}", file=sys.stderr)
        return 2
    again = None if wanted.again is None else set(wanted.again.read_text(encoding="utf-8").splitlines())
    survivors: list[str] = []
    with tempfile.TemporaryDirectory() as place:
        benches: Queue[Bench] = Queue()
        for i in range(wanted.workers):
            benches.put(Bench(Path(place) / str(i)))

        unsound = [room for room, found in by_room.items() if not sound(benches, [module for module, _ in found])]
        if unsound:
            print(f"tests fail without any fault: {', '.join(unsound)}; mend them first", file=sys.stderr)
            return 1

        def tried(one: tuple[Path, Fault]) -> tuple[bool, str]:
            module, fault = one
            bench = benches.get()
            try:
                noticed = bench.noticed(module, fault.number)
            finally:
                benches.put(bench)
            return noticed, told(module, fault)

        with ThreadPoolExecutor(wanted.workers) as pool:
            for room, found in by_room.items():
                chosen = random.Random(f"{wanted.seed} {room}").sample(found, min(wanted.faults, len(found)))
                if again is not None:
                    chosen = [(module, fault) for module, fault in found if told(module, fault) in again]
                if not chosen:
                    continue
                began, seen, missed = time.monotonic(), 0, []
                for noticed, words in pool.map(tried, chosen):
                    seen += noticed
                    if not noticed:
                        missed.append(words)
                        print(f"  not noticed: {words}", flush=True)
                low, high = interval(seen, len(chosen))
                print(
                    f"{room}: {seen} of {len(chosen)} faults noticed ({seen / len(chosen):.0%}, {low:.0%} to {high:.0%}; "
                    f"{len(found)} possible), {time.monotonic() - began:.0f} s",
                    flush=True,
                )
                survivors += missed
    if wanted.list is not None:
        wanted.list.write_text("\n".join(survivors) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

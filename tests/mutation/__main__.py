"""Run the campaign. See the package's head for how."""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import importlib
import json
import math
import os
import random
import sys
import tomllib
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from .choosing import LAST, Record, modules, room_of
from .faults import Fault, faults
from .loading import ROOT, install
from .serving import Once, Recorder, Server, apart, append, rows_of
from .touched import Touched

#: Rooms of tests that only ask other processes, or the screen, which faults in memory never reach.
LEFT_OUT = ("viz", "faults", "fuzz", "benchmarks", "mutation", "test_wheel", "test_readme", "test_imports")
LEFT_OUT += ("test_rooms", "test_determinism", "__init__", "__pycache__")
#: Of those, what does run the engine itself.
KEPT = ("viz/test_build_sheet.py",)
PARTIES = (
    "numpy scipy.integrate scipy.interpolate scipy.linalg scipy.optimize scipy.signal scipy.sparse scipy.stats numba "
    "pydantic rich.console jinja2 pygame pytest hypothesis"
)
#: Seconds that a test may take longer than five times its own: where machine code has to be made anew, and elsewhere.
COMPILING_S, SPARE_S = 20, 5
NOTICED = ("noticed", "slow", "stuck", "died")


def ready(notes: Path) -> None:
    """Load what is not ours, quietly and alone: forked processes must find no other threads."""
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS"):
        os.environ[name] = "1"
    os.environ["BELTSPRING_CACHE"] = str(notes / "code")
    os.environ |= {"SDL_VIDEODRIVER": "dummy", "PYGAME_HIDE_SUPPORT_PROMPT": "1"}
    (notes / "code").mkdir(mode=0o700, exist_ok=True)
    sys.dont_write_bytecode, sys.pycache_prefix = False, str(notes / "bytecode")
    for name in PARTIES.split():
        importlib.import_module(name)
    import hypothesis
    import numba

    numba.njit(lambda x: x + 1)(1.0)
    hypothesis.settings.register_profile("mutation", derandomize=True, database=None, deadline=None)
    hypothesis.settings.load_profile("mutation")


def collected(notes: Path, files: list[str], plugin: object) -> None:
    """Let pytest collect these files; the plugin does the rest. Nothing is said."""
    import pytest

    os.dup2(os.open(notes / "said.txt", os.O_WRONLY | os.O_CREAT | os.O_APPEND), 1)
    os.dup2(1, 2)
    switches = f"-q -p no:cacheprovider -p no:faulthandler -p no:xdist --rootdir {ROOT}".split(" ")
    pytest.main([*switches, f"--basetemp={notes / f'made-{os.getpid()}'}", *files], plugins=[plugin])


def load_all() -> None:
    """Every module of the engine and what it is shown with, so that none is loaded by a test."""
    for path in sorted((ROOT / "sim").rglob("*.py")) + sorted((ROOT / "viz").rglob("*.py")):
        name = ".".join(("beltspring", *path.relative_to(ROOT).with_suffix("").parts)).removesuffix(".__init__")
        if not name.endswith("__main__"):
            with contextlib.suppress(ImportError):
                importlib.import_module(name)


def test_files(wanted: list[str]) -> list[str]:
    """Of those places of tests, or of all rooms of tests that run the engine in their own process."""
    places = [ROOT / place for place in wanted]
    if not places:
        places = [x for x in sorted((ROOT / "tests").iterdir()) if x.stem not in LEFT_OUT]
        places += [ROOT / "tests" / name for name in KEPT]
    found = (p for place in places for p in ([place] if place.is_file() else sorted(place.rglob("test_*.py"))))
    return list(dict.fromkeys(str(p) for p in found if p.name.startswith("test_")))


def record(notes: Path, files: list[str], longest_s: int) -> None:
    """Write down what every test touches, in a process of its own."""

    pid = os.fork()
    if pid == 0:
        touched = Touched()
        with touched.watching():
            install()
            load_all()
        row = {"test": "", "file": "", "s": 0, "ok": True, "touched": touched.as_words()}
        append(notes / "record.jsonl", row)
        collected(notes, files, Recorder(notes / "record.jsonl", longest_s))
        os._exit(0)
    os.waitpid(pid, 0)


def served(notes: Path, files: list[str], workers: int) -> list[tuple[int, int]]:
    """Start the loaded engine. For each worker where to ask it, and where it answers."""
    asking, hearing = [os.pipe() for _ in range(workers)], [os.pipe() for _ in range(workers)]
    if os.fork() == 0:
        for pipe in asking:
            os.close(pipe[1])
        install()
        load_all()
        collected(notes, files, Server([(a[0], h[1]) for a, h in zip(asking, hearing, strict=True)]))
        os._exit(0)
    for a, h in zip(asking, hearing, strict=True):
        os.close(a[0])
        os.close(h[1])
    return [(a[1], h[0]) for a, h in zip(asking, hearing, strict=True)]


class Bench:
    """Tries faults: in a loaded engine where that is enough, else in one loaded anew."""

    def __init__(self, notes: Path, ask: int, hear: int) -> None:
        self.notes, self.asking, self.hearing = notes, os.fdopen(ask, "w"), os.fdopen(hear)

    def tried(self, module: Path, fault: Fault, tests: list[tuple[str, float]], anew: bool) -> dict[str, Any]:
        """What became of a fault: {end, by, cpu, tests}. anew: the import runs its statement, so that it has to be loaded."""
        if not tests:
            return {"end": "not reached", "by": None, "cpu": 0, "tests": 0}
        text = module.read_text(encoding="utf-8")
        native = any(word in text for word in ("@compiled", "@formula", "Printer"))
        spare = COMPILING_S if native else SPARE_S
        request = {"module": str(module), "number": fault.number, "tests": tests, "spare": spare}
        code = set(os.listdir(self.notes / "code"))
        answer = {"end": "done", "said": "elsewhere", "cpu": 0}
        if not anew:
            print(json.dumps(request), file=self.asking, flush=True)
            answer = json.loads(self.hearing.readline())
        if answer["said"] == "elsewhere":
            answer = apart(lambda: self._anew(request))
        for name in set(os.listdir(self.notes / "code")) - code:
            with contextlib.suppress(OSError):
                (self.notes / "code" / name).unlink()
        end = answer["end"] if answer["end"] != "done" else "noticed" if answer["said"] else "survived"
        return {"end": end, "by": answer["said"], "cpu": answer["cpu"], "tests": len(tests)}

    def _anew(self, request: dict[str, Any]) -> str | None:
        install(Path(request["module"]), request["number"])
        once = Once(request)
        files = list(dict.fromkeys(str(ROOT / name.partition("::")[0]) for name, _ in request["tests"]))
        collected(self.notes, files, once)
        return once.said if once.began else "while loading"


def told(module: Path, fault: Fault) -> str:
    """A fault in one line."""
    return f"{module.relative_to(ROOT)}:{fault.line}: {fault.words}"


def interval(noticed: int, of: int) -> tuple[float, float]:
    """Wilson's interval of a share at 95 % (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927, from memory)."""
    z, p = 1.96, noticed / of
    middle = (p + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of))
    return middle - half, middle + half


def sample(rooms: list[str], count: int, seed: int) -> Iterator[tuple[str, int, list[tuple[Path, Fault]]]]:
    """(room, possible faults, chosen ones)."""
    by_room: dict[str, list[tuple[Path, Fault]]] = defaultdict(list)
    for module in modules(rooms):
        by_room[room_of(module)] += [(module, fault) for fault in faults(module.read_text(encoding="utf-8"))]
    for room in rooms or by_room:
        found = by_room[room]
        yield room, len(found), random.Random(f"{seed} {room}").sample(found, min(count, len(found)))


def table(tried: Path) -> dict[str, dict[str, Any]]:
    """The last word on each fault, by its line and words."""
    return {row["fault"]: row for row in rows_of(tried)}


def told_of(room: str, rows: list[dict[str, Any]]) -> str:
    """A room's line of the table; what changes nothing is left out of the share."""
    same = equivalent()
    left = [row for row in rows if row["end"] in NOTICED or plain(row["fault"]) not in same]
    seen = sum(row["end"] in NOTICED for row in left)
    slow = sum(row["end"] in ("slow", "stuck") for row in left)
    own = sum((row["by"] or "").startswith(LAST) for row in left)
    low, high = interval(seen, len(left))
    return (
        f"{room}: {len(rows)} tried, {len(rows) - len(left)} change nothing, {seen} of {len(left)} noticed "
        f"({seen / len(left):.0%}, {low:.0%} to {high:.0%}), {slow} of them by time, {own} only by stored numbers"
    )


def plain(fault: str) -> str:
    """A fault as it is told, with its line's text in place of the number, which moves."""
    place, _, words = fault.partition(": ")
    module, _, line = place.rpartition(":")
    return f"{module}: {(ROOT / module).read_text(encoding='utf-8').splitlines()[int(line) - 1].strip()} | {words}"


def equivalent() -> set[str]:
    """What changes nothing, as `plain` has it."""
    with Path(__file__).with_name("equivalent.toml").open("rb") as file:
        return {f"{module}: {words}" for module, rows in tomllib.load(file).items() for words in rows}


def wanted() -> argparse.Namespace:
    """What was asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("rooms", nargs="*")
    parser.add_argument("--faults", type=int, default=150, help="how many a room")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--patience", type=float, default=20, help="seconds of tests for one fault, as recorded")
    parser.add_argument("--longest", type=int, default=10, help="a test is cut off after so many seconds of recording")
    parser.add_argument("--tests", nargs="*", default=[], help="places of tests to ask, in place of all rooms")
    parser.add_argument(
        "--again", action="store_true", help="try once more what was not noticed, but for what changes nothing"
    )
    parser.add_argument("--record", action="store_true", help="only record what the tests touch")
    parser.add_argument("--recorded", action="store_true", help="ask only tests that have been recorded")
    parser.add_argument("--table", action="store_true", help="only tell what is known")
    place = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "beltspring-mutation"
    parser.add_argument("--notes", type=Path, default=place, help="folder for what is written down")
    return parser.parse_args()


def main() -> int:
    """Sample, try, tell."""
    asked = wanted()
    there = sorted({room_of(m) for m in modules([])})
    if unknown := set(asked.rooms) - set(there):
        print(f"no such room: {', '.join(sorted(unknown))}; there are {', '.join(there)}", file=sys.stderr)
        return 2
    made = hashlib.sha256(b"".join(p.read_bytes() for p in sorted((ROOT / "sim").rglob("*.py"))))
    notes = asked.notes.absolute() / made.hexdigest()[:12]
    notes.mkdir(parents=True, exist_ok=True)
    chosen = list(sample(asked.rooms, asked.faults, asked.seed))
    if not asked.table:
        files = test_files(asked.tests)
        ready(notes)
        if not asked.recorded:
            record(notes, files, asked.longest)
        if asked.record:
            return 0
        done, same = table(notes / "tried.jsonl"), equivalent()
        todo = [
            one for _, _, found in chosen for one in found
            if told(*one) not in done
            or (asked.again and done[told(*one)]["end"] not in NOTICED and plain(told(*one)) not in same)
        ]  # fmt: skip
        in_parts(notes, files, todo, asked.patience, asked.workers)
    done = table(notes / "tried.jsonl")
    for room, possible, found in chosen:
        if rows := [done[told(*one)] for one in found if told(*one) in done]:
            print(f"{told_of(room, rows)}; {possible} possible", flush=True)
    return 0


def in_parts(notes: Path, files: list[str], todo: list[tuple[Path, Fault]], patience: float, workers: int) -> None:
    """Try faults in so many processes, and write down what became of each."""
    known = Record(notes / "record.jsonl", files)
    pipes = served(notes, files, workers)
    for i, mine in enumerate(pipes):
        if os.fork() == 0:
            for other in pipes:
                if other is not mine:
                    os.close(other[0])
            bench = Bench(notes, *mine)
            for module, fault in todo[i::workers]:
                anew = bool(fault.names) or known.run_by_import(module, fault)
                came = bench.tried(module, fault, known.tests(module, fault, patience), anew)
                append(notes / "tried.jsonl", {"fault": told(module, fault), "room": room_of(module), **came})
                if came["end"] not in NOTICED:
                    print(f"  {came['end']}: {told(module, fault)}", flush=True)
            os._exit(0)
    for pipe in pipes:
        os.close(pipe[0])
    for _ in range(workers + 1):
        os.wait()


if __name__ == "__main__":
    raise SystemExit(main())

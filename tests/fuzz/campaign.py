"""Throwing the grammar's text at the readers, in this process; what falls over is made as small as it can be, and kept.

    python -m tests.fuzz.campaign --minutes 60 --seed 7            by hand, for hours; crashes are written to tests/fuzz/kept
    python -m tests.fuzz.campaign --cases 1000000 --seed 7 --quick  mostly the readers alone, ten times as many in the time

A case has fallen over when anything but an error told in words comes out, a warning of a library too, when a message
could steer a terminal, or when it takes longer than ten seconds.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import io
import random
import re
import signal
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from types import FrameType

from beltspring.sim.chain.chain import prepare
from beltspring.sim.errors import BeltspringError
from beltspring.sim.order.prices import load_prices
from beltspring.sim.scenario.load import load_scenario
from beltspring.sim.study.fit.columns import read_columns
from beltspring.sim.study.fit.measured import read_measured
from beltspring.viz.cli import main

from tests.fuzz import grammar, readers
from tests.support import shipped

KEPT = Path(__file__).parent / "kept"
LONGEST_S = 10.0
#: Letters a terminal may take for orders: control letters but tab and the two that end a line.
STEERS = re.compile("[\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\x7f-\\x9f]")


class Hung(Exception):
    """A case that took too long."""


def of_scenario(path: Path) -> None:
    """From the file to a plan."""
    prepare(load_scenario(path))


def of_program(path: Path) -> None:
    """A program through the planner and the first stretches of its plan."""
    plan = prepare(shipped("key-tag", {"move.gcode": str(path)})).plan
    for count, _ in enumerate(plan.stretches()):
        if count == 20:
            return


def of_prices(path: Path) -> None:
    """A price file."""
    load_prices(path)


def of_measured(path: Path) -> None:
    """A file of measurements, with a record beside it."""
    path.with_name("samples.csv").write_text(grammar.samples(random.Random(1)), encoding="utf-8")
    read_measured(path)


def of_samples(path: Path) -> None:
    """A sensor's samples."""
    read_columns(path)


def of_command(path: Path) -> None:
    """A command line, a word a line; its exit code is one of those that are told."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        try:
            code = main(path.read_bytes().decode("utf-8").split("\x1f"))
        except SystemExit as ending:
            code = int(ending.code or 0)
    assert code in (0, 1, 2, 3), f"exit code {code}"
    assert "Traceback" not in out.getvalue()
    assert steers_nothing(out.getvalue()), "a terminal could be steered"


def steers_nothing(text: str) -> bool:
    """Whether no letter of a text could steer a terminal."""
    return STEERS.search(text) is None


def _command_text(r: random.Random) -> str:
    return "\x1f".join(grammar.command_line(r, Path("out")))


Maker = Callable[[random.Random], str]
#: For every kind what makes a text, what reads it, and its share of the cases. The two whose readers have most before them
#: are read alone as well, without what comes of them.
KINDS: dict[str, tuple[Maker, Callable[[Path], None], float]] = {
    "scenario": (grammar.scenario, of_scenario, 0.3),
    "program": (grammar.program, of_program, 0.25),
    "scenario_read": (grammar.scenario, readers.scenario, 0.05),
    "program_read": (grammar.program, readers.program, 0.05),
    "prices": (grammar.prices, of_prices, 0.1),
    "measured": (grammar.measured, of_measured, 0.1),
    "samples": (grammar.samples, of_samples, 0.1),
    "command": (_command_text, of_command, 0.05),
}
QUICK = {
    "scenario": 0.002,
    "program": 0.003,
    "scenario_read": 0.17,
    "program_read": 0.75,
    "prices": 0.025,
    "measured": 0.025,
    "samples": 0.0245,
    "command": 0.0005,
}
#: So many quick cases share one alarm, one folder and one hold of the warnings: setting them costs as much as a case.
TOGETHER = 100
#: Where there is one, a disk in memory: a file a case costs more than reading it elsewhere.
IN_MEMORY = Path("/dev/shm")


@contextlib.contextmanager
def limited(seconds: float) -> Iterator[None]:
    """Raise Hung in the main thread after so long: seconds of the processor's, or thirty times that of waiting."""

    def over(number: int, frame: FrameType | None) -> None:
        raise Hung(f"longer than {seconds:g} s")

    clocks = ((signal.SIGPROF, signal.ITIMER_PROF, seconds), (signal.SIGALRM, signal.ITIMER_REAL, 30 * seconds))
    before = [signal.signal(number, over) for number, _, _ in clocks]
    for _, clock, most in clocks:
        signal.setitimer(clock, most)
    try:
        yield
    finally:
        for (number, clock, _), was in zip(clocks, before, strict=True):
            signal.setitimer(clock, 0)
            signal.signal(number, was)


def warm(folder: Path) -> None:
    """Have the loops that long programs use compiled: that takes seconds once, and no case's time."""
    path = folder / "warm.gcode"
    lines = [f"G1 X{20 + 0.1 * k:.1f} Y{20 + k % 3}" if k % 9 else "G2 I1" for k in range(500)]
    path.write_text("\n".join(["G21 G90 F6000", "G0 X20 Y20", *lines, "G4 P0.1"]))
    for jerk in (0, 50_000):
        plan = prepare(shipped("key-tag", {"move.gcode": str(path), "motion.jerk_mm_s3": jerk})).plan
        next(iter(plan.stretches()))


@contextlib.contextmanager
def guarded(folder: Path) -> Iterator[None]:
    """Cases run in a folder, no longer than allowed, and a warning counts as a fault: a person would see it, and none speaks
    of what they wrote."""
    with limited(LONGEST_S), contextlib.chdir(folder), warnings.catch_warnings():
        warnings.simplefilter("error")
        yield


def fault_of(kind: str, text: str, folder: Path) -> str | None:
    """How a case fell over, in a few words that stay the same while it is made smaller; None if it did not."""
    with guarded(folder):
        return _read(kind, text, folder)


def _read(kind: str, text: str, folder: Path) -> str | None:
    path = folder / f"case.{'gcode' if kind.startswith('program') else 'toml'}"
    path.write_text(text, encoding="utf-8", newline="")
    try:
        KINDS[kind][1](path)
    except BeltspringError as told:
        if not str(told).strip():
            return "an error without words"
        return None if steers_nothing(str(told)) else "a terminal could be steered"
    except Exception as fault:
        return f"{type(fault).__name__}: {str(fault)[:60]}"
    return None


def smaller(kind: str, text: str, fault: str, folder: Path) -> str:
    """The same fault from less text: whole lines first, then pieces of lines, as long as it stays."""
    for cut in ("\x1f" if kind == "command" else "\n", " "):
        size = len(text.split(cut))
        while size >= 1:
            parts, at = text.split(cut), 0
            while at < len(parts):
                less = cut.join(parts[:at] + parts[at + size :])
                if less != text and fault_of(kind, less, folder) == fault:
                    text, parts = less, parts[:at] + parts[at + size :]
                else:
                    at += size
            size //= 2
    return text


def campaign(
    seed: int,
    cases: int | None = None,
    minutes: float | None = None,
    quick: bool = False,
    told: Callable[[str], None] | None = None,
) -> tuple[Counter[str], list[tuple[str, str, str]]]:
    """Cases thrown, by kind, and what fell over: (kind, fault, text made small), each fault once."""
    r, thrown, found = random.Random(seed), Counter[str](), dict[tuple[str, str], str]()
    until = None if minutes is None else time.monotonic() + 60 * minutes
    kinds, weights = list(KINDS), [QUICK[kind] if quick else share for kind, (_, _, share) in KINDS.items()]
    with tempfile.TemporaryDirectory(dir=IN_MEMORY if IN_MEMORY.is_dir() else None) as place:
        folder = Path(place)
        warm(folder)
        while (cases is None or thrown.total() < cases) and (until is None or time.monotonic() < until):
            texts = [(kind, KINDS[kind][0](r)) for kind in r.choices(kinds, weights, k=TOGETHER if quick else 1)]
            with guarded(folder):
                faults = [_read(kind, text, folder) for kind, text in texts]
            for (kind, text), fault in zip(texts, faults, strict=True):
                thrown[kind] += 1
                if told and thrown.total() % 50_000 == 0:
                    told(f"{thrown.total()} thrown, {len(found)} fell over: {dict(thrown)}")
                if fault is not None and (kind, fault) not in found:
                    found[kind, fault] = smaller(kind, text, fault, folder)
                    if told:
                        told(f"{kind}: {fault}\n  {keep(kind, found[kind, fault])}")
    return thrown, [(kind, fault, text) for (kind, fault), text in found.items()]


def keep(kind: str, text: str) -> Path:
    """Keep a case that fell over; from then on it is a test."""
    KEPT.mkdir(exist_ok=True)
    path = KEPT / f"{kind}-{hashlib.sha256(text.encode()).hexdigest()[:12]}.txt"
    path.write_text(text, encoding="utf-8", newline="")
    return path


def by_hand() -> None:
    """Throw for as long as asked."""
    parser = argparse.ArgumentParser(description=campaign.__doc__)
    parser.add_argument("--minutes", type=float)
    parser.add_argument("--cases", type=int)
    parser.add_argument("--quick", action="store_true", help="mostly the readers alone")
    parser.add_argument("--seed", type=int, default=int(time.time()))
    asked = parser.parse_args()
    minutes = 10.0 if asked.cases is None and asked.minutes is None else asked.minutes
    thrown, found = campaign(asked.seed, asked.cases, minutes, asked.quick, lambda words: print(words, flush=True))
    print(f"seed {asked.seed}: " + ", ".join(f"{kind} {n}" for kind, n in thrown.items()))
    raise SystemExit(bool(found))


if __name__ == "__main__":
    by_hand()

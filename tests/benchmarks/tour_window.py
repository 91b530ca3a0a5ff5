"""Every screen, sheet, lesson and shipped machine again and again, off screen: whether a round leaves memory behind. No test.

    python tests/benchmarks/tour_window.py [--rounds 4] [small-box small-delta ...]

A round opens every machine named (all where none is) in one window, brings it into every state that `overlap.py` knows, in
both themes and two sizes by turns, saves its file anew and lets it be read, moves a slider and takes that back. Of each
comparison 16 machines are asked, not 128, and a search is begun and left. Told is the memory at the end of each round, with
nothing running. Reach: from the second round to the last it grows by 2 MB a round at
most; the first two load, compile and draw for the first time.
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
import tempfile
import time
from functools import partial
from pathlib import Path

from beltspring.sim import load, shipped
from beltspring.viz.window import memory, verdicts
from beltspring.viz.window.runs import run_changed
from beltspring.viz.window.sheets.search import SearchSheet
from beltspring.viz.window.watched import EVERY_S, watched

from tests.benchmarks.soak_window import memory_mb
from tests.viz.window.overlap import STATES, THEMES, Poser

MOST_MB_A_ROUND = 2.0
SIZES = ((1280, 800), (1920, 1080))


def settle(poser: Poser, longest_s: float = 300.0) -> None:
    """Until nothing runs, the machines behind a comparison too."""
    until = time.monotonic() + longest_s
    app = poser.app
    app.wait_until_ready()
    while time.monotonic() < until:
        app.step(0.05, [], poser.surface)
        study = getattr(app.screen, "verdicts", None)
        waits = study is not None and study.study is not None and study.study.spreading is None and not study.trouble
        if app.screen.name != "compare" or not waits:
            return
        time.sleep(0.02)


def machine(poser: Poser, name: str, folder: Path, count: int) -> None:
    """One machine through every state, its file saved anew, a slider moved and put back."""
    app = poser.app
    path = folder / f"{name}.toml"
    path.write_bytes(next(s for s in shipped() if s.name == name).path.read_bytes())
    scenario = load(str(path))
    app.open([run_changed(scenario, {})], files=[watched(path, partial(load, str(path)), scenario)])
    for k, state in enumerate(STATES):
        if poser.there(state) and state != "sheet search":
            poser.see((SIZES[(count + k // 9) % 2], 1.0, THEMES[(count + k // 4) % 2]))
            poser.pose(state)
            app.step(1 / 60, [], poser.surface)
            if state == "compare":
                settle(poser)
    app.deck.show(app.deck.named("compare"))
    app.deck.open_sheet(SearchSheet(app.stage))
    app.step(0.05, [], poser.surface)
    app.deck.close_sheet()
    app.frame.lessons.end()
    app.stage.presenting = False
    os.utime(path, ns=(time.time_ns(), time.time_ns()))
    for _ in range(3):
        app.step(1.05 * EVERY_S, [], poser.surface)
    app.wait_until_ready()
    mass = app.session.value("carriage.mass_g") or 300.0
    for value in (1.1 * mass, 1.2 * mass):
        app.session.change({"carriage.mass_g": value}, True)
        settle(poser)
    app.session.undo()
    app.session.defaults()
    settle(poser)


def main() -> int:
    """Go round; 0 if memory stayed where it was."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("machines", nargs="*")
    parser.add_argument("--rounds", type=int, default=4)
    args = parser.parse_args()
    verdicts.spread_comparison = partial(verdicts.spread_comparison, count=16)
    names = args.machines or [s.name for s in shipped()]
    poser, told = Poser(names[0]), []
    with tempfile.TemporaryDirectory() as folder:
        for count in range(args.rounds):
            for name in names:
                machine(poser, name, Path(folder), count)
            poser.app.resize((1280, 800))
            gc.collect()
            memory.give_back()
            told.append(memory_mb())
            print(f"round {count + 1}: {told[-1]:.0f} MB", flush=True)
    poser.close()
    rounds = max(1, len(told) - 2)
    grown = (told[-1] - told[min(1, len(told) - 1)]) / rounds
    print(f"{grown:+.1f} MB a round, reach {MOST_MB_A_ROUND:.0f}")
    return 0 if grown <= MOST_MB_A_ROUND else 1


if __name__ == "__main__":
    sys.exit(main())

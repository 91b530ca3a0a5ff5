"""How long a frame of the window takes, and how soon a slider's new curves are there. A benchmark, not a test.

    python tests/benchmarks/bench_window.py [--frames 60] [small-delta ...]

Reach: 10 ms a frame at 1280 x 800, 16 ms at 1920 x 1080, in both themes, presenting too, on each machine named (a CoreXY, a
box and one on arms where none is); 50 ms from slider to new curves at the default detail, on the shipped desk machine. Drawn
off screen while playing at 1/10; the median is told, and the slowest tenth. A frame's time is that of its thread on the
processor, so that what else runs on a shared machine does not count; a slider's is that of the whole process: the frame
that shows the slider moved, the run, the frame with its curves, and with the words that follow.
"""

from __future__ import annotations

import argparse
import statistics
import time

import numpy as np
import pygame
from beltspring.sim.scenario.load import load_scenario
from beltspring.viz.draw.theme import THEMES
from beltspring.viz.window.app import App
from beltspring.viz.window.runs import run_changed

SIZES = ((1280, 800), (1920, 1080))
MACHINES = ("desk-corexy", "small-box", "small-delta")
SCREENS = ("mixing", "give", "ringing", "moves", "compare", "print", "wall")
REACH_MS = {(1280, 800): 10.0, (1920, 1080): 16.0}
OF = {"give": "mixing", "wall": "print"}  # states of a screen, by their own names


def frames(app: App, count: int, state: str) -> list[float]:
    """Milliseconds of each frame while something moves."""
    surface = pygame.Surface(app.size, 0, 32)
    app.wait_until_ready()
    if state == "give":
        app.screen.set_mode(1)
        app.screen.give.again()
    if state == "wall":
        app.screen.seen.value = 1
    app.clock.go(0.45)
    app.clock.playing = True
    app.clock.speed_index = 1
    took = []
    for k in range(count + 10):
        if state == "give":
            app.screen.give.time_s = 0.01 + 5e-4 * k
        elif state == "mixing":
            turn = np.full(len(app.session.shown.trace.motors), 0.7)
            turn[0] = 1.5 if k < count / 2 else -1.5
            app.screen.bench.turn(np.radians(turn))
            app._dirty = True
        elif not app.clock.playing:
            app.clock.go(0.45)
            app.clock.playing = True
        start = time.thread_time()
        app.step(1 / 60, [], surface)
        took.append((time.thread_time() - start) * 1e3)
    return took[10:]


def table(result: object, name: str, count: int) -> int:
    """Print the frame times of a machine; how many are over their reach."""
    over = 0
    for presenting in (False, True):
        for size in SIZES:
            for state in SCREENS:
                told = []
                for theme in THEMES:
                    app = App([result], size=size, initial_screen=OF.get(state, state), theme=theme)  # type: ignore[list-item]
                    app.stage.presenting = presenting
                    took = frames(app, count, state)
                    app.close()
                    told += [statistics.median(took), float(np.percentile(took, 90))]
                over += max(told[0], told[2]) > REACH_MS[size]
                label = f"{name} {size[0]} x {size[1]} {state}{', presenting' if presenting else ''}"
                print(f"{label:<45}" + "".join(f"{ms:9.1f}" for ms in (*told, REACH_MS[size])), flush=True)
    return over


def slider(result: object, size: tuple[int, int]) -> tuple[float, float]:
    """Milliseconds from a slider's change to the frame that shows its curves, and to that with its words; medians of 15."""
    app = App([result], size=size)  # type: ignore[list-item]
    surface = pygame.Surface(size, 0, 32)
    app.step(0.0, [], surface)
    curves, words = [], []
    for k in range(16):
        before = app.session.shown
        start = time.process_time()
        app.session.change({"carriage.mass_g": 300.0 + 5 * (k + 1)}, True)
        while app.session.shown is before:
            app.step(0.001, [], surface)
            time.sleep(0.0005)
        curves.append((time.process_time() - start) * 1e3)
        while not app.session.ready:
            app.step(0.001, [], surface)
            time.sleep(0.0005)
        app.step(0.001, [], surface)
        words.append((time.process_time() - start) * 1e3)
    app.close()
    return statistics.median(curves[1:]), statistics.median(words[1:])


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("machines", nargs="*")
    parser.add_argument("--frames", type=int, default=60)
    args = parser.parse_args()
    print(
        f"{'a frame, ms: median and slowest tenth':<45}"
        + "".join(f"{w:>9}" for w in ("dark", "", "light", "", "reach"))
    )
    over = 0
    for name in args.machines or MACHINES:
        over += table(run_changed(load_scenario(name), {}), name, args.frames)
    print(f"{over} over their reach")
    desk = run_changed(load_scenario("desk-corexy"), {})
    for size in SIZES:
        curves, words = slider(desk, size)
        print(
            f"{size[0]} x {size[1]} slider to new curves: {curves:.0f} ms, reach 50 ms; to their words: {words:.0f} ms"
        )


if __name__ == "__main__":
    main()

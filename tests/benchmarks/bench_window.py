"""How long a frame of the window takes, and how soon a slider's new curves are there. A benchmark, not a test.

    python tests/benchmarks/bench_window.py [--frames 120]

Reach: 12 ms a frame at 1280 x 800, 16.7 ms at 1920 x 1080, 100 ms from slider to new curves, on the shipped desk
machine. Drawn off screen on one core while playing at 1/10; the median is told, and the slowest tenth.
"""

from __future__ import annotations

import argparse
import statistics
import time

import numpy as np
import pygame
from beltspring.sim.scenario.load import load_scenario
from beltspring.viz.window.app import App
from beltspring.viz.window.runs import run_changed

SIZES = ((1280, 800), (1920, 1080))
SCREENS = ("mixing", "ringing", "moves", "compare", "print")
REACH_MS = {(1280, 800): 12.0, (1920, 1080): 16.7}


def frames(app: App, count: int) -> list[float]:
    """Milliseconds of each frame while something moves."""
    surface = pygame.Surface(app.size, 0, 32)
    app.wait_until_ready()
    app.clock.go(0.45)
    app.clock.playing = True
    app.clock.speed_index = 1
    took = []
    for k in range(count + 10):
        if app.screen.name == "mixing":
            app.screen.bench.turn(np.radians([1.5 if k < count / 2 else -1.5, 0.7]))
            app._dirty = True
        elif not app.clock.playing:
            app.clock.go(0.45)
            app.clock.playing = True
        start = time.perf_counter()
        app.step(1 / 60, [], surface)
        took.append((time.perf_counter() - start) * 1e3)
    return took[10:]


def slider(result: object, size: tuple[int, int]) -> float:
    """Milliseconds from a slider's change to the frame that shows its curves, median of 15."""
    app = App([result], size=size)  # type: ignore[list-item]
    surface = pygame.Surface(size, 0, 32)
    app.step(0.0, [], surface)
    took = []
    for k in range(16):
        before = app.session.shown
        start = time.perf_counter()
        app.session.change({"carriage.mass_g": 300.0 + 5 * (k + 1)}, True)
        while app.session.shown is before:
            app.step(0.001, [], surface)
            time.sleep(0.0005)
        took.append((time.perf_counter() - start) * 1e3)
    app.close()
    return statistics.median(took[1:])


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--frames", type=int, default=120)
    count = parser.parse_args().frames
    result = run_changed(load_scenario("desk-corexy"), {})
    print("frame, ms             median  slowest tenth  reach")
    for size in SIZES:
        for name in SCREENS:
            app = App([result], size=size, initial_screen=name)
            took = frames(app, count)
            app.close()
            slow = float(np.percentile(took, 90))
            label = f"{size[0]} x {size[1]} {name}"
            print(f"{label:<22}{statistics.median(took):6.1f} {slow:14.1f} {REACH_MS[size]:6.1f}")
        print(f"{size[0]} x {size[1]} slider to new curves: {slider(result, size):.0f} ms, reach 100 ms")


if __name__ == "__main__":
    main()

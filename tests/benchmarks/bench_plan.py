"""How fast plans are made and sampled, and what a job of a million lines takes.

    python tests/benchmarks/bench_plan.py            all figures
    python tests/benchmarks/bench_plan.py --big      also a file of 500 MB

The million-line file is generated (a wandering line, always the same). Peak memory is that of a fresh process.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from beltspring.sim.machine.build import build_machine
from beltspring.sim.model.build import build_model
from beltspring.sim.plan.build import MotionPlan, build_plan
from beltspring.sim.plan.lookahead import passes
from beltspring.sim.plan.program import Program
from beltspring.sim.scenario.load import load_scenario
from beltspring.sim.scenario.motion import MotionLimits, MoveSpec, ShaperSpec
from beltspring.sim.simulate.commands import extreme_names
from beltspring.sim.simulate.keep import KeepThinned
from beltspring.sim.simulate.run import run

from tests.benchmarks.timing import seconds

REACH = ((0.0, 0.18), (0.0, 0.18), (0.0, 0.18))
LIMITS = MotionLimits(0.15, 4.0, 0.0, 0.005, 0.0)
SHAPERS = {"x": ShaperSpec("zero-vibration", 48.0, 0.05), "y": ShaperSpec("zero-vibration", 40.0, 0.05)}


def write_job(path: Path, lines: int) -> None:
    """A line that wanders inside 20 to 160 mm in steps of half a millimetre, depositing."""
    rng = np.random.default_rng(1)
    x = y = 20.0
    heading = 0.0
    turns = rng.normal(0.0, 0.25, lines)
    with path.open("w") as file:
        file.write("G21\nG90\nM82\nG92 E0\nG1 F6000\n")
        for k in range(lines):
            heading += turns[k]
            if not 20.0 < x + 0.5 * np.cos(heading) < 160.0:
                heading = np.pi - heading
            if not 20.0 < y + 0.5 * np.sin(heading) < 160.0:
                heading = -heading
            x, y = x + 0.5 * np.cos(heading), y + 0.5 * np.sin(heading)
            file.write(f"G1 X{x:.3f} Y{y:.3f} E{0.02 * k:.5f}\n")


def show(what: str, value: str, reach: str = "") -> None:
    print(f"{what:<58}{value:>16}   {reach}", flush=True)


def bench_passes() -> None:
    n = 1_000_000
    rng = np.random.default_rng(0)
    length, cap = rng.uniform(1e-4, 1e-3, n), np.full(n, 0.15**2)
    limit, curvature = np.full(n, 4.0), np.zeros(n)
    corner = np.append(rng.uniform(0.0, 0.15, n) ** 2, 0.0)
    node = corner.copy()
    passes(length, cap, limit, curvature, node)

    def once() -> None:
        node[:] = corner
        passes(length, cap, limit, curvature, node)

    show("look-ahead, both speed passes", f"{n / seconds(once, 3) / 1e6:.1f} M segments/s", ">= 10 M segments/s")


def bench_sampling() -> None:
    for words, shapers, pattern in (
        ("lines", {}, "zigzag"), ("arcs", {}, "circle"), ("lines, zv on X and Y", SHAPERS, "zigzag"),
    ):  # fmt: skip
        plan = build_plan(LIMITS, shapers, MoveSpec(pattern, None, 0.06, 1, "x", 0.0), REACH)
        stretch = next(iter(plan.stretches(1.0)))
        if shapers:
            stretch = list(plan.stretches(1.0))[1]
        edges = np.linspace(stretch.t0, stretch.t1, 3001)
        stretch.command(edges[:-1], edges[1:])
        each = seconds(lambda: stretch.command(edges[:-1], edges[1:]), 20) / 9000  # noqa: B023
        show(f"sampling, {words}", f"{1e9 * each:.0f} ns", "<= 50 ns a sample, unshaped")


def bench_small_plan() -> None:
    move = MoveSpec("square", None, 0.06, 1, "x", 0.35)
    show(
        "plan of a square, nothing compiled", f"{1e3 * seconds(lambda: build_plan(LIMITS, {}, move, REACH), 3):.2f} ms"
    )


def bench_reading(path: Path, what: str) -> None:
    size = path.stat().st_size

    def read() -> None:
        for _ in Program(path, np.array(REACH), 0.15, 4.0).chunks():
            pass

    show(f"{what}: words and modal state", f"{size / seconds(read, 2) / 1e6:.0f} MB/s", ">= 10 MB/s")


def plan_job(path: Path, limits: MotionLimits, shapers: dict[str, ShaperSpec]) -> MotionPlan:
    return build_plan(limits, shapers, MoveSpec(None, path, 0.06, 1, "x", 0.35), REACH)


def whole_job(path: Path) -> None:
    """In a process of its own: read, plan and simulate at detail simple; time and peak memory."""
    import resource

    machine = build_machine(
        load_scenario(
            "desk-corexy",
            ["detail=simple"],
        )
    )
    system = build_model(machine)
    small = path.with_name("small.gcode")
    write_job(small, 2000)
    run(system, plan_job(small, LIMITS, {}))  # compiles, or loads what was compiled
    began = time.perf_counter()
    plan = plan_job(path, LIMITS, {})
    planned = time.perf_counter()
    trace = run(system, plan, record_s=1e-2, keep=KeepThinned(system, extreme_names(system)))
    done = time.perf_counter()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)
    if trace.ended != "complete":
        sys.exit(f"the run ended early: {trace.ended}")
    show("  motion", f"{plan.duration_s:.0f} s")
    show("  read and plan", f"{planned - began:.2f} s")
    show("  read and plan again, simulate", f"{done - planned:.2f} s", f"{trace.steps} steps")
    show("  all together", f"{plan.duration_s / (done - began):.0f} x real", ">= 300 x real time")
    show("  peak memory", f"{peak:.0f} MB", "<= 500 MB")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--big", action="store_true", help="also stream a file of 500 MB")
    parser.add_argument("--job", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.job:
        whole_job(options.job)
        return
    bench_passes()
    bench_sampling()
    bench_small_plan()
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder) / "million.gcode"
        write_job(job, 1_000_000)
        bench_reading(job, "1,000,000 lines")
        for words, limits in (
            ("trapezoid", LIMITS),
            ("limited jerk", MotionLimits(0.15, 4.0, 100.0, 0.005, 0.0)),
            ("corners rounded by 20 um", MotionLimits(0.15, 4.0, 0.0, 0.005, 20e-6)),
        ):
            took = seconds(lambda: plan_job(job, limits, {}), 2)  # noqa: B023
            show(f"1,000,000 lines: read and planned, {words}", f"{took:.2f} s", f"{1 / took:.2f} M segments/s")
        print("1,000,000 lines, detail simple, in a process of its own", flush=True)
        subprocess.run([sys.executable, __file__, "--job", str(job)], check=True, env=os.environ)
        if options.big:
            big = Path(folder) / "big.gcode"
            text = job.read_bytes()
            with big.open("wb") as file:
                for _ in range(500_000_000 // len(text) + 1):
                    file.write(text)
            bench_reading(big, f"{big.stat().st_size / 1e6:.0f} MB")


if __name__ == "__main__":
    main()

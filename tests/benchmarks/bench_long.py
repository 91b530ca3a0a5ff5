"""A long job from file to judgement: parse, plan, simulate, path error and ripple map, time and peak memory.

    python -m tests.benchmarks.bench_long                a million short lines (more than an hour of motion), at both details
    python -m tests.benchmarks.bench_long --lines 50000 --detail full

Reach for a million lines: 10 s of one core at detail simple, 60 s at full, at most 300 MB. The file is generated, always the
same: wavy rings of 0.25 mm lines at 60 mm/s, a level every 4000. Each figure comes from a fresh process whose loops are
compiled already; besides the time on the clock stands the processor's own, for a machine that does other work too.
"""

from __future__ import annotations

import argparse
import math
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

#: By detail, seconds of one core for a million lines; and memory at its peak.
REACH_S, REACH_MB = {"simple": 10.0, "full": 60.0}, 300.0
LINES_A_LEVEL = 4000


def write_job(path: Path, lines: int) -> None:
    """Wavy rings of 0.25 mm lines about X90 Y90, a level every LINES_A_LEVEL."""
    turn = 0.25 / 40
    with path.open("w") as file:
        file.write("G21 G90\nM83\nG0 X133 Y90 F6000\n")
        for k in range(lines):
            level, i = divmod(k, LINES_A_LEVEL)
            if i == 0:
                file.write(f"G0 Z{0.2 * (level + 1):.1f}\nG1 F3600\n")
            a = i * turn
            r = 40 + 3 * math.sin(9 * a)
            file.write(f"G1 X{90 + r * math.cos(a):.3f} Y{90 + r * math.sin(a):.3f} E0.012\n")


def one(path: Path, detail: str) -> None:
    """Carry one job through and print: motion s, clock s, processor s, peak MB, rows, rows kept."""
    import resource

    from beltspring.sim.chain.chain import prepare, simulate_prepared
    from beltspring.sim.scenario.load import load_scenario, with_changes

    scenario = with_changes(
        load_scenario("desk-corexy"), {"detail": detail, "move.gcode": str(path), "space.z_mm": 400}
    )
    clock, processor = time.perf_counter(), time.process_time()
    ready = prepare(scenario)
    planned = time.perf_counter()
    outcome = simulate_prepared(ready)
    clock_s, processor_s = time.perf_counter() - clock, time.process_time() - processor
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    peak_mb = peak / (1e6 if sys.platform == "darwin" else 1e3)
    trace = outcome.trace
    print(
        ready.plan.duration_s, clock_s, processor_s, peak_mb, trace.rows, len(trace.t_s), planned - clock,
        len(outcome.analysis.ripples.levels),
    )  # fmt: skip


def measured(path: Path, detail: str) -> list[float]:
    """The figures of `one`, from a process of its own."""
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, __file__, "--one", str(path), "--detail", detail],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    return [float(word) for word in done.stdout.split()]


def main() -> None:
    """Measure and print what is asked for."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--lines", type=int, default=1_000_000)
    arguments.add_argument("--detail", choices=list(REACH_S), help="this one alone; else both")
    arguments.add_argument("--one", type=Path)
    chosen = arguments.parse_args()
    if chosen.one is not None:
        one(chosen.one, chosen.detail)
        return
    for detail in [chosen.detail] if chosen.detail else REACH_S:
        table(detail, chosen.lines)


def table(detail: str, lines: int) -> None:
    """Measure and print one detail."""
    with tempfile.TemporaryDirectory() as folder:
        small, job = Path(folder) / "small.gcode", Path(folder) / "job.gcode"
        write_job(small, 5000)
        measured(small, detail)  # compiles what is not compiled yet
        write_job(job, lines)
        motion_s, clock_s, processor_s, peak_mb, rows, kept, plan_s, levels = measured(job, detail)
        size_mb = job.stat().st_size / 1e6
    print(f"{detail}: {lines} lines, {size_mb:.1f} MB, {motion_s:.0f} s of motion on {levels:.0f} levels")
    reach = f"   (reach: {REACH_S[detail] * lines / 1e6:.2g} s)"
    print(
        f"  parsed and planned in {plan_s:.2f} s; all together {clock_s:.1f} s, {processor_s:.1f} s of one core{reach}"
    )
    print(f"  {motion_s / clock_s:.0f} times real time by the clock, {motion_s / processor_s:.0f} by the processor")
    print(f"  peak memory {peak_mb:.0f} MB   (reach: {REACH_MB:.0f}); {kept:.0f} of {rows:.0f} rows kept")


if __name__ == "__main__":
    main()

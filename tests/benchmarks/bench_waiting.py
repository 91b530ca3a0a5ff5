"""What a person waits for, all in one run: commands as whole processes, and what stands round the step loop.

    python -m tests.benchmarks.bench_waiting          from the repository's folder, beltspring installed

Processor time, the least of several: on a shared computer the fairest figure; of the first run ever, which two processors
share, by the clock. Beside each stands a ratio that other work on the computer leaves alone: of processes to one that only
loads the libraries, of the rest to the step loop.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from tests.benchmarks.timing import seconds

COMMAND = Path(sys.executable).parent / "beltspring"
#: What loading the libraries alone takes: nothing of ours.
LIBRARIES = "import numba, numpy, pydantic, rich.console"


def process_s(command: list[str], environment: dict[str, str], times: int = 5) -> float:
    """Processor time of a whole process, user and system, s: the least of several."""
    found = []
    for _ in range(times):
        before = os.times()
        subprocess.run(command, env=environment, check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        after = os.times()
        spent = after.children_user + after.children_system - before.children_user - before.children_system
        found.append(spent)
    return min(found)


def clock_s(command: list[str], environment: dict[str, str]) -> float:
    """How long a whole process takes by the clock, s."""
    began = time.perf_counter()
    subprocess.run(command, env=environment, check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return time.perf_counter() - began


def show(what: str, found: str, ratio: str, reach: str = "") -> None:
    print(f"{what:<50}{found:>10}{ratio:>26}   {reach}", flush=True)


def processes() -> None:
    """Whole commands on the shipped desk machine, their bytecode and machine code kept as after a first run."""
    with tempfile.TemporaryDirectory() as place:
        environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        environment |= {"PYTHONPYCACHEPREFIX": f"{place}/bytecode", "BELTSPRING_CACHE": f"{place}/kernels"}
        run = [str(COMMAND), "run", "desk-corexy"]
        process_s([sys.executable, "-c", LIBRARIES], environment, 1)
        libraries = process_s([sys.executable, "-c", LIBRARIES], environment)
        show("loading the libraries", f"{libraries:.2f} s", "1")
        process_s([str(COMMAND), "modes", "desk-corexy"], environment, 1)
        empty = [environment | {"BELTSPRING_CACHE": f"{place}/empty{k}"} for k in range(4)]
        first = min(clock_s(run, one) for one in empty[:3])
        spent = process_s(run, empty[3], 1)
        show("run, the first ever, by the clock", f"{first:.2f} s", f"{spent:.2f} s of processors", "reach 3.0 s")
        for words, reach in (
            (["run"], "reach 0.55 s by the clock"), (["compare"], ""), (["modes"], ""), (["check"], ""), (["--help"], ""),
        ):  # fmt: skip
            command = [str(COMMAND), *words, *([] if words[0].startswith("-") else ["desk-corexy"])]
            process_s(command, environment, 1)
            took = process_s(command, environment)
            show(f"{' '.join(words)}, warm", f"{took:.2f} s", f"{took / libraries:.2f} x", reach)


def beside_the_loop(detail: str) -> None:
    """What one run takes beside its step loop."""
    from beltspring.sim.analyse import analyse
    from beltspring.sim.chain.batch import rig_of
    from beltspring.sim.chain.chain import prepare, simulate_prepared
    from beltspring.sim.chain.judged import judge_ringing, paces_of
    from beltspring.sim.scenario.load import load_scenario
    from beltspring.sim.simulate.run import run

    from tests.benchmarks.bench_batch import Here, loop_alone

    ready = prepare(load_scenario("desk-corexy", [f"detail={detail}"]))
    outcome = simulate_prepared(ready)
    loop = loop_alone(rig_of(ready))
    duration = ready.plan.duration_s
    print(f"\n{detail}: {duration:.2f} s of motion")
    show("the step loop", f"{1e3 * loop:.2f} ms", f"{duration / loop:.0f} x real time", "reach 500 at full")
    paces = paces_of(ready)
    rows: list[tuple[str, Callable[[], object], str]] = [
        ("run()", lambda: run(ready.system, ready.plan), "reach 1.5"),
        ("from trace to judgement",
         lambda: analyse(outcome.trace, ready.plan, outcome.analysis.path, system=ready.system), "reach 3 ms"),
        ("machine, model and plan", lambda: prepare(ready.scenario), ""),
        ("the verdict over thirteen speeds", lambda: judge_ringing([ready], paces, Here()), ""),
    ]  # fmt: skip
    for what, work, reach in rows:
        took = seconds(work, 15)
        show(what, f"{1e3 * took:.1f} ms", f"{took / loop:.2f} x the loop", reach)


def main() -> None:
    """Print the tables."""
    processes()
    for detail in ("simple", "full"):
        beside_the_loop(detail)


if __name__ == "__main__":
    main()

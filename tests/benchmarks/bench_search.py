"""How many designs a second a search judges, beside the step loops they need alone, and how much memory a worker takes.

    python -m tests.benchmarks.bench_search          from the repository's folder

Parts change from design to design (belts, motors, pretension). Processor seconds of one thread, warm; on a shared computer
absolute figures vary, ratios to the loop much less.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time

from beltspring.sim.chain.batch import rig_of
from beltspring.sim.chain.chain import prepare
from beltspring.sim.chain.judged import paces_of
from beltspring.sim.order.prices import load_prices
from beltspring.sim.scenario.load import load_scenario
from beltspring.sim.study.search.goals import goals_of
from beltspring.sim.study.search.search import RUNS_EACH
from beltspring.sim.study.search.space import space_of
from beltspring.sim.study.search.worker import Task, answers_of

from tests.benchmarks.bench_batch import loop_alone

SPACE = space_of(
    [
        "belts.part=belt-2mm-6-glass,belt-2mm-9-glass,belt-2mm-6-steel",
        "motors.part=motor-17-34,motor-17-40,motor-17-48",
        "belts.pretension_n=15..30",
    ]
)
DESIGNS = 24


def table(detail: str, reach: str) -> None:
    """The rows of one detail."""
    base = load_scenario("desk-corexy", [f"detail={detail}"])
    paces = paces_of(prepare(base))
    assert paces is not None
    loop_s = loop_alone(rig_of(prepare(base)))
    for prices in (None, load_prices("example")):
        task = Task(base, paces, goals_of(["judged_um"], [], prices is not None), prices)
        some = [SPACE.settings(SPACE.at(i * SPACE.possible // DESIGNS)) for i in range(DESIGNS)]
        for one in some:
            answers_of(task, one)
        began = time.thread_time()
        for one in some:
            answers_of(task, one)
        each = (time.thread_time() - began) / DESIGNS
        words = f"{detail}, five speeds{', priced' if prices else ''}"
        rates = f"{1 / each:>8.0f} designs/s{RUNS_EACH / each:>8.0f} runs/s"
        print(f"{words:<34}{rates}{each / RUNS_EACH / loop_s:>8.2f} x the loop   {reach}")


def worker_memory() -> None:
    """Memory of a fresh process that judged one design at full detail."""
    code = (
        "import resource\n"
        "from tests.benchmarks.bench_search import one\n"
        "one()\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)\n"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    print(f"a worker's memory: {said.strip()} MiB   reach 250")


def one() -> None:
    """One design judged, as a worker does."""
    base = load_scenario("desk-corexy", ["detail=full"])
    paces = paces_of(prepare(base))
    assert paces is not None
    answers_of(Task(base, paces, goals_of(["judged_um"], [], False), None), SPACE.settings(SPACE.at(0)))


def main() -> None:
    """Print the table."""
    table("simple", "reach 200 runs/s")
    table("full", "reach 60 runs/s")
    worker_memory()
    print(f"this process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024} MiB")


if __name__ == "__main__":
    main()

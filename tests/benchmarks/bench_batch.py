"""How many judged runs a second the batch engine makes, beside its step loop alone, all in one run.

    python -m tests.benchmarks.bench_batch          from the repository's folder

The machine is the shipped desk-corexy on its own square, some 2 s of motion. A run is one motion of one design with its
peaks judged; numbers only: one motion, one topology, designs whose models are built beforehand, thirteen speeds each.
Processor seconds of one thread; on a shared computer absolute figures vary, ratios to the loop much less.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, Future
from typing import Any

import numpy as np
from beltspring.sim.chain.batch import Feeds, Rig, judge, rig_of
from beltspring.sim.chain.chain import prepare, simulate_prepared
from beltspring.sim.chain.judged import judge_ringing, paces_of
from beltspring.sim.scenario.load import load_scenario, with_changes, with_variant
from beltspring.sim.simulate.commands import Extremes, State, out_width

from tests.benchmarks.timing import seconds

NAME, DESIGNS = "desk-corexy", 16


class Here(Executor):
    """Work done at once, in this thread."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        done: Future[Any] = Future()
        done.set_result(fn(*args, **kwargs))
        return done


def loop_alone(rig: Rig) -> float:
    """Seconds of the step loop of one run, fed beforehand."""
    chunks = list(Feeds().of(rig, 1.0).feed.chunks(rig.system))

    def work() -> None:
        s = rig.system
        state = State(rig.start.copy(), np.zeros(s.n), np.zeros(len(s.frictions)), 0.0)
        for chunk in chunks:
            rig.loop.advance(s, state, chunk, np.empty((chunk.rows, out_width(s))), Extremes.fresh(s))

    return seconds(work, 20)


def show(what: str, took_s: float, runs: int, loop_s: float, reach: str = "") -> None:
    print(f"{what:<52}{runs / took_s:>9.0f}/s{took_s / runs / loop_s:>9.2f} x the loop   {reach}", flush=True)


def table(detail: str, reach: tuple[str, str, float]) -> None:
    """The rows of one detail. reach: of numbers only, of changed parts, runs/s; of the verdict, s."""
    base = load_scenario(NAME, [f"detail={detail}"])
    changed = [with_changes(base, {"belts.ea_n": 12000 + 100 * i}) for i in range(DESIGNS)]
    six = [base, *(with_changes(with_variant(base, v), {"detail": detail}) for v in base.variants)]
    ready = [prepare(s) for s in changed]
    rigs = [rig_of(r) for r in ready]
    paces = paces_of(ready[0])
    assert paces is not None
    speeds = paces.factors

    def numbers() -> None:
        judge(rigs, speeds, Here())

    def lanes() -> None:
        judge(rigs, speeds, Here(), lanes=True)

    def anew(at: tuple[float, ...]) -> None:
        judge([prepare(s) for s in changed], at, Here())

    numbers()
    loop_s = loop_alone(rigs[0])
    print(f"\n{detail}: the loop alone {1 / loop_s:.0f} runs/s of {ready[0].plan.duration_s:.2f} s")
    runs = len(rigs) * len(speeds)
    show("numbers only, 13 speeds", seconds(numbers, 3), runs, loop_s, reach[0])
    lanes()
    show(
        "numbers only, 13 speeds, eight at a time",
        seconds(lanes, 3),
        runs,
        loop_s,
        "1.2 x one lane at full, 1.8 at simple",
    )
    show("changed and built anew, 13 speeds", seconds(lambda: anew(speeds), 3), runs, loop_s)
    show("changed and built anew, one speed", seconds(lambda: anew((1.0,)), 3), len(rigs), loop_s, reach[1])
    show("the whole chain of `run`", seconds(lambda: simulate_prepared(ready[0]), 3), 1, loop_s)
    took = seconds(lambda: judge_ringing([prepare(s) for s in six], executor=Here()), 3)
    print(f"verdict of {len(six)} designs at {len(speeds)} speeds, parts changed: {took:.2f} s   {reach[2]} s")


def main() -> None:
    """Print both tables."""
    table("simple", ("1000/s", "200/s", 0.5))
    table("full", ("150/s", "60/s", 1.5))


if __name__ == "__main__":
    main()

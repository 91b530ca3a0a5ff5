"""Who is asked to do what in the chain: tasks and threads, machines that go together, benches, jobs refused; by hand."""

from __future__ import annotations

from types import SimpleNamespace as Made
from typing import Any

import pytest
from beltspring.sim.chain import batch as batching
from beltspring.sim.chain import stand as standing
from beltspring.sim.chain.batch import Feeds, judge
from beltspring.sim.chain.burden import Burden
from beltspring.sim.chain.stand import Criteria, bench_of
from beltspring.sim.errors import InputError


@pytest.mark.parametrize(("processors", "tasks", "threads"), [(3, 4, 3), (3, 2, 2), (None, 2, 1), (8, 1, None)])
def test_there_are_as_many_threads_as_processors_and_no_more_than_tasks(monkeypatch, processors, tasks, threads):
    """One task is done by whoever asks. Machines go by themselves: what goes together differs by rounding."""
    assert not Feeds().lanes
    pools: list[int] = []
    plain = batching.ThreadPoolExecutor

    def pool(most: int) -> Any:
        pools.append(most)
        return plain(most)

    monkeypatch.setattr(batching, "ThreadPoolExecutor", pool)
    monkeypatch.setattr(batching, "cpu_count", lambda: processors)
    monkeypatch.setattr(batching, "rig_of", lambda one: Made(loop=None, name=one))
    monkeypatch.setattr(batching, "_block", lambda designs, paces, feeds: [[f"{d.name} {paces[0]}"] for d in designs])
    found = judge(["a", "b"], list(range(tasks)))
    assert [t.samples for t in found] == [tuple(f"{name} {k}" for k in range(tasks)) for name in "ab"]
    assert pools == ([] if threads is None else [threads])


def test_machines_of_one_topology_fed_alike_go_together_where_that_is_asked_for(monkeypatch):
    together: list[Any] = []

    def run_over(feed: str, machines: list[Any], given_up: Any) -> Any:
        together.append((feed, [system for system, _, _ in machines]))
        return iter([f"ran {system}" for system, _, _ in machines])

    monkeypatch.setattr(batching, "run_over_lanes", run_over)
    monkeypatch.setattr(batching, "_told", lambda design, ready, seen: (seen, ready.feed))
    monkeypatch.setattr(batching, "sample", lambda design, ready, given_up: ("alone", ready.feed))

    class System(str):
        n = 2

    def rig(name: str, text: str, key: str) -> Any:
        return Made(system=System(name), lane=Made(text=text), key=key, start=0)

    feeds: Any = Made(lanes=True, given_up=None, of=lambda design, pace: Made(feed=f"{design.key} at {pace}"))
    designs = [rig("a", "one", "k"), rig("b", "two", "k"), rig("c", "one", "k"), rig("d", "one", "other")]
    found = batching._block(designs, [0.9, 1.1], feeds)
    assert found == [[(f"ran {d.system}", f"{d.key} at {pace}") for pace in (0.9, 1.1)] for d in designs]
    assert together[:3] == [("k at 0.9", ["a", "c"]), ("k at 0.9", ["b"]), ("other at 0.9", ["d"])]
    designs[1].system.n = 0  # nothing to solve for
    assert batching._block(designs[:2], [1.0], feeds) == [[("alone", "k at 1.0")]] * 2


class Asked:
    """A motion; with other limits it is another."""

    def __init__(self, name: str) -> None:
        self.name, self.limits = name, f"limits of {name}"

    def with_limits(self, limits: str) -> Asked:
        return Asked(f"{self.name} under {limits}")

    def plan(self) -> str:
        return f"plan of {self.name}"


def test_a_bench_tries_the_scenarios_own_move_or_another(monkeypatch):
    monkeypatch.setattr(standing, "motion_of", lambda scenario, machine, system, move: Asked(f"{scenario} {move}"))
    ready = standing.Prepared("s", "m", "y", "p", Asked("own"))
    bench = bench_of(ready, Criteria())
    assert bench.motion.name == "own"
    assert bench_of(ready, Criteria(), "a line").motion.name == "s a line"
    assert bench.under("more").motion.name == "own under more"
    assert bench.limits == "limits of own"


def test_a_bench_judges_its_move_under_the_limits_asked_for(monkeypatch):
    monkeypatch.setattr(standing, "judge_ringing", lambda designs: [f"{d.plan}, {d.motion.name}" for d in designs])
    bench = bench_of(standing.Prepared("s", "m", "y", "p", Asked("own")), Criteria())
    assert bench.judged("more") == "plan of own under more, own under more"


def test_a_long_job_is_refused_with_the_way_on():
    Burden(1e6, 600.0, 0.0, 0.0).refuse()
    with pytest.raises(InputError) as refused:
        Burden(1.234e9, 3 * 3600.0, 0.0, 0.0).refuse()
    said = str(refused.value)
    assert said.startswith(
        "this move would take about 3 hours (1.2e+09 steps); if that is meant, `beltspring run --long`"
    )
    with pytest.raises(
        InputError, match=r"^`limits` of this move would take .*; if that is meant, `beltspring limits --long`"
    ):
        Burden(1.0, 601.0, 0.0, 0.0).refuse("limits")

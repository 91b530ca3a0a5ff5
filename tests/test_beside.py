"""Machine code made by a child process beside its parent: it is found, waited for, and the child never outlives the parent."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
from beltspring.sim import beside, caches, compiled, compiling, finished
from beltspring.sim.simulate import commands

ONE = "beltspring.sim.simulate.commands:_torque_limits"
#: No test depends on how long it takes; one that would never end does after so many seconds.
LONG_S = 120.0


@pytest.fixture
def empty(tmp_path, monkeypatch):
    """An empty cache, and no child."""
    folder = tmp_path / "kernels"
    monkeypatch.setenv("BELTSPRING_CACHE", str(folder))
    monkeypatch.setattr(beside, "_children", [])
    monkeypatch.setattr(beside, "_given", {})
    monkeypatch.setattr(beside, "_processors", lambda: 2)
    monkeypatch.setattr(caches, "_troubles", [])
    monkeypatch.setattr(compiled, "_looked", [])
    yield folder
    beside.end()


def not_there():
    return False


def fresh(loop: compiled.Loop) -> compiled.Loop:
    """A loop as another process has it."""
    other = compiled.Loop(loop._make, loop._stem, loop._parts)
    other.told = loop.told
    return other


def test_what_a_child_makes_is_what_its_parent_runs(empty, monkeypatch):
    monkeypatch.setattr(beside, "PATIENCE_S", LONG_S)
    loop, kinds = compiled._usual[ONE]
    assert not loop.is_kept(kinds)
    beside.begin({ONE: lambda: loop.is_kept(kinds)})
    own = fresh(loop)
    omega, table = np.linspace(-900.0, 900.0, 24).reshape(4, 3, 2), np.linspace(2.0, 0.1, 40).reshape(2, 20)
    out, plain = np.empty(omega.shape), np.empty(omega.shape)
    own(omega, table, 1000.0, out)
    loop.py_func(omega, table, 1000.0, plain)
    assert np.allclose(out, plain, rtol=1e-14, atol=0)
    assert loop.is_kept(kinds)
    if finished._surroundings() is not None:
        assert own._made is None, "its parent compiled it too"
    (child,) = beside._children
    assert child.wait(LONG_S) == 0
    assert sorted(p.suffix for p in empty.iterdir()) == [caches.SUFFIX] * len(list(empty.iterdir()))


def test_runs_call_the_usual_loops_with_the_usual_kinds(monkeypatch):
    """Else the child makes what nobody asks for."""
    from beltspring.sim.chain.chain import prepare, simulate_prepared
    from beltspring.sim.scenario.load import load_scenario

    seen = {}
    for told, (loop, _) in compiled._usual.items():
        monkeypatch.setattr(loop, "_last", None)
        monkeypatch.setattr(loop, "_made", None)
        monkeypatch.setattr(loop, "ready", lambda k, told=told, ready=loop.ready: seen.update({told: k}) or ready(k))
    simulate_prepared(prepare(load_scenario("desk-corexy", ["detail=simple"])))
    assert seen == {told: kinds for told, (_, kinds) in compiled._usual.items()}


@pytest.mark.parametrize("why", ["no process", "one processor", "read-only", "all there", "as the files do not say"])
def test_where_no_child_can_help_nobody_waits(empty, monkeypatch, why):
    def refused(*words, **more):
        assert why == "no process", "a child was started"
        raise OSError(11, "no more processes")

    monkeypatch.setattr(beside.subprocess, "Popen", refused)
    monkeypatch.setattr(compiled.Loop, "is_kept", lambda self, kinds: why == "all there")
    if why == "one processor":
        monkeypatch.setattr(beside, "_processors", lambda: 1)
    if why == "read-only":
        monkeypatch.setattr(os, "access", lambda *given: False)
    monkeypatch.setattr(finished, "off", why == "as the files do not say")
    compiled.make_usual()
    beside.wait_for(ONE)
    assert not beside._children


def test_one_child_at_a_time_and_it_ends_when_it_is_told_to(empty):
    beside.begin({ONE: not_there})
    (child,) = beside._children
    beside.begin({ONE: not_there})
    assert beside._children == [child]
    beside.end()
    assert child.returncode is not None
    beside.wait_for(ONE)  # nobody is at it any more


def test_what_the_child_has_not_begun_is_made_by_its_parent(empty, monkeypatch):
    monkeypatch.setattr(beside, "CHILD", ("-S", "-E", "-c", "import sys; sys.stdin.read()"))
    there = {"first": False, ONE: False}
    beside.begin({name: lambda name=name: there[name] for name in there})
    (child,) = beside._children
    beside.wait_for(ONE)  # else it would wait for longer than the child lives
    assert child.poll() is None
    monkeypatch.setattr(beside, "PATIENCE_S", 0.1)
    beside.wait_for("first")  # longer than it is waited for
    assert child.returncode is not None


def test_the_child_begins_with_what_is_asked_for_first(monkeypatch):
    given = []
    monkeypatch.setattr(compiled, "_looked", [])
    monkeypatch.setattr(beside, "begin", given.extend)
    monkeypatch.setattr(compiled.Loop, "is_kept", lambda self, kinds: self is compiled._usual[ONE][0])
    compiled.make_usual()
    assert [told.split(":")[1] for told in given] == [name for name in compiled.TURN if name != "_torque_limits"]
    assert sorted(compiled.TURN) == sorted(told.split(":")[1] for told in compiled._usual)
    compiled.make_usual()
    assert len(given) == len(compiled.TURN) - 1, "looked after twice in a process"


def test_it_begins_with_the_first_loop_of_ours_that_has_to_be_compiled(empty, monkeypatch):
    """A program's plan has loops of its own, long before its step loop."""
    given = []
    monkeypatch.setattr(beside, "begin", given.extend)
    monkeypatch.setattr(compiled.Loop, "dispatcher", property(lambda self: lambda *arguments: "made"))
    loop = fresh(compiled._usual[ONE][0])
    assert loop(np.zeros((1, 3, 1)), np.zeros((1, 2)), 1.0, np.zeros((1, 3, 1))) == "made"
    assert not given, "not for anybody's loop"
    monkeypatch.setattr(compiled, "_usual", {ONE: (loop, ()), "x:feet": (loop, ()), "x:_product": compiled._usual[ONE]})
    loop.ours = True
    assert loop(np.zeros((1, 3, 1)), np.zeros((1, 2)), 1.0, np.zeros((1, 3, 1))) == "made"
    assert given == ["x:_product"]


def test_who_cannot_keep_anything_waits_for_no_child(empty, monkeypatch):
    beside.begin({ONE: not_there})
    (child,) = beside._children
    monkeypatch.setattr(caches, "_troubles", ["No space left on device"])
    beside.wait_for(ONE)
    assert child.returncode is not None


@pytest.mark.skipif(not os.path.isdir("/proc/self"), reason="looks at the system's list of processes")
def test_a_child_that_has_ended_is_no_longer_among_the_processes(empty, monkeypatch):
    """Though nobody waits for it, as in a window that stays open."""
    monkeypatch.setattr(beside, "CHILD", ("-S", "-E", "-c", "pass"))
    beside.begin({ONE: not_there})
    late = time.monotonic() + LONG_S
    while os.path.exists(f"/proc/{beside._children[0].pid}"):
        assert time.monotonic() < late
        time.sleep(0.01)


PARENT = f"""
import os, sys, time
from beltspring.sim import beside
beside._processors = lambda: 2
beside.begin({{"{ONE}": lambda: False}})
print(beside._children[0].pid, flush=True)
time.sleep({LONG_S})
"""


@pytest.mark.skipif(sys.platform == "win32", reason="processes are killed by signals")
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_a_child_ends_with_its_parent(empty, how):
    parent = subprocess.Popen(
        [sys.executable, "-c", PARENT], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    number = int(parent.stdout.readline())
    parent.send_signal(how)
    parent.wait(LONG_S)
    parent.stdout.close()
    late = time.monotonic() + LONG_S
    while alive(number):
        assert time.monotonic() < late
        time.sleep(0.01)
    assert not list(empty.glob("*.part"))


def alive(number: int) -> bool:
    """Whether a process runs; one that has ended and that nobody asks for does not."""
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    try:
        with open(f"/proc/{number}/stat", encoding="ascii") as file:
            return file.read().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return not os.path.isdir("/proc/self")


def test_while_machine_code_is_made_no_rings_are_looked_for():
    import gc

    assert gc.isenabled()
    assert compiling.made_aside(lambda: compiling.made_aside(gc.isenabled)) is False
    with pytest.raises(ZeroDivisionError):
        compiling.made_aside(lambda: 1 // 0)
    assert gc.isenabled()


def test_the_module_of_the_usual_loops_is_the_one_they_stand_in():
    assert compiled._usual[ONE][0] is commands._torque_limits

"""Machine code made by a child process, found by this one."""

from __future__ import annotations

import subprocess
from types import SimpleNamespace

import pytest
from beltspring.sim.simulate import kernel_cache, precompile
from beltspring.sim.simulate.generated import source
from beltspring.sim.simulate.precompile import ensure_compiled
from beltspring.sim.simulate.run import run

from tests.support import bare, model_of, plan_of


@pytest.fixture
def empty(tmp_path, monkeypatch):
    """A cache of its own, and a working folder with decoys of everything the child imports first."""
    monkeypatch.setenv("BELTSPRING_CACHE", str(tmp_path / "kernels"))
    monkeypatch.setattr(kernel_cache, "_loaded", {})
    here = tmp_path / "here"
    here.mkdir()
    for name in ("sim", "numba", "numpy", "beltspring"):
        (here / f"{name}.py").write_text("raise SystemExit('a decoy was imported')\n")
    monkeypatch.chdir(here)
    return tmp_path / "kernels"


def test_a_child_makes_what_this_process_then_finds(empty):
    scenario = bare("corexy")
    system = model_of(scenario)
    text, _ = source(system)
    assert not kernel_cache.is_cached(text)
    child = ensure_compiled(system)
    assert isinstance(child, subprocess.Popen)
    assert child.wait(timeout=120) == 0
    assert kernel_cache.is_cached(text)
    made = {path: path.stat().st_mtime_ns for path in empty.rglob("*.code")}
    assert ensure_compiled(system) is None
    trace = run(system, plan_of(scenario, system))
    assert trace.ended == "complete"
    assert not trace.notes
    # Read, not made again; what feeds the loop may be compiled besides, where nothing in this process has needed it yet.
    assert {path: path.stat().st_mtime_ns for path in made} == made
    own = {kernel_cache.kernel_name(text)}
    assert {path for path in empty.rglob("*.code") if any(name in path.name for name in own)} <= set(made)
    assert any(name in path.name for path in made for name in own)


def test_a_child_that_fails_leaves_the_run_to_compile_for_itself(empty, monkeypatch):
    monkeypatch.setattr("beltspring.sim.simulate.precompile.CHILD", ("-c", "raise SystemExit(7)"))
    system = model_of(bare("corexy"))
    child = ensure_compiled(system)
    assert child is not None
    assert child.wait(timeout=60) == 7
    assert not kernel_cache.is_cached(source(system)[0])


def test_a_model_of_nothing_that_moves_needs_no_machine_code():
    assert precompile.ensure_compiled(SimpleNamespace(n=0)) is None


def test_a_child_that_ends_before_it_has_read_all_is_waited_for(monkeypatch):
    """Else it would stay behind as a process that nobody has asked about."""
    waited = []

    class Child:
        class stdin:
            write = staticmethod(lambda text: (_ for _ in ()).throw(BrokenPipeError()))

        wait = staticmethod(lambda: waited.append(True))

    monkeypatch.setattr(precompile, "source", lambda system: ("text", None))
    monkeypatch.setattr(precompile, "is_cached", lambda text: False)
    monkeypatch.setattr(precompile.subprocess, "Popen", lambda *_, **__: Child())
    assert isinstance(precompile.ensure_compiled(SimpleNamespace(n=4)), Child)
    assert waited == [True]

"""Compiled step loops kept between runs: found again, private, and never the reason a run fails."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pytest
from beltspring.sim.simulate import kernel_cache
from beltspring.sim.simulate.generated import source
from beltspring.sim.simulate.run import run
from beltspring.sim.trace import Trace

from tests.support import bare, model_of, plan_of

SHORT = {"move.size_mm": 5, "move.settle_ms": 5}


@pytest.fixture
def folder(tmp_path, monkeypatch) -> Path:
    """An empty cache folder, and nothing loaded yet."""
    place = tmp_path / "kernels"
    monkeypatch.setenv("BELTSPRING_CACHE", str(place))
    forget(monkeypatch)
    return place


@pytest.fixture(scope="module")
def compiled(tmp_path_factory) -> Path:
    """A cache folder in which the kernel of `small_run` was compiled once."""
    place = tmp_path_factory.mktemp("compiled") / "kernels"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("BELTSPRING_CACHE", str(place))
        forget(patch)
        small_run()
    return place


@pytest.fixture
def filled(folder, compiled) -> Path:
    """A cache folder with that kernel in it, as a later run finds it."""
    shutil.copytree(compiled, folder, copy_function=shutil.copy2)
    folder.chmod(0o700)
    return folder


def small_run() -> Trace:
    """A short move of a bare machine: its kernel compiles fastest."""
    scenario = bare("moving-bed", SHORT)
    system = model_of(scenario)
    return run(system, plan_of(scenario, system))


def text() -> str:
    return source(model_of(bare("moving-bed", SHORT)))[0]


def forget(monkeypatch) -> None:
    """As a new process would begin."""
    monkeypatch.setattr(kernel_cache, "_loaded", {})
    for name in [name for name in sys.modules if name.startswith("_beltspring_loop_")]:
        monkeypatch.delitem(sys.modules, name)


def times(folder: Path) -> dict[str, int]:
    return {p.name: p.stat().st_mtime_ns for p in folder.rglob("*.nb*")}


def test_a_kernel_is_kept_and_found_again(folder, monkeypatch):
    assert not kernel_cache.is_cached(text())
    first = small_run()
    assert first.notes == []
    assert kernel_cache.is_cached(text())
    kept = times(folder)
    assert kept
    forget(monkeypatch)
    second = small_run()
    assert second.notes == []
    assert np.array_equal(first.tool, second.tool)
    assert times(folder) == kept  # read, not compiled once more
    assert not list(folder.glob("*.part"))


def test_machine_code_is_there_before_the_first_call(filled):
    # All argument types are known beforehand: one version is compiled, and the first window does not wait for another.
    kernel, notes = kernel_cache.load_kernel(text())
    assert notes == []
    assert len(kernel.signatures) == 1
    small_run()
    assert len(kernel.signatures) == 1


def test_the_folder_is_private(folder):
    kernel_cache.load_kernel(text())
    assert folder.stat().st_mode & 0o077 == 0


def test_where_nothing_can_be_written_a_run_works_and_says_so(folder, monkeypatch, tmp_path):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("BELTSPRING_CACHE", str(tmp_path / "file" / "kernels"))
    trace = small_run()
    assert trace.ended == "complete"
    (note,) = trace.notes
    assert note.startswith("the step loop was compiled for this run only")
    assert "BELTSPRING_CACHE" in note
    assert str(tmp_path / "file") in note


def test_a_folder_others_can_write_to_is_not_used(folder):
    # Code is imported from there: whoever can write to it could run anything as this person.
    folder.mkdir()
    folder.chmod(0o777)
    trace = small_run()
    assert trace.ended == "complete"
    (note,) = trace.notes
    assert "can be written by someone else" in note
    assert list(folder.iterdir()) == []


def test_a_damaged_source_is_written_afresh(filled):
    path = filled / f"{kernel_cache.kernel_name(text())}.py"
    path.write_text("raise SystemExit('not ours')\n")
    again = small_run()
    assert again.notes == []
    assert again.ended == "complete"
    assert path.read_text() == text()


@pytest.mark.parametrize(("suffix", "damage"), [("nbi", "emptied"), ("nbc", "cut short"), ("nbc", "overwritten")])
def test_damaged_machine_code_is_compiled_afresh(filled, suffix, damage):
    before = times(filled)
    for path in filled.rglob(f"*advance*.{suffix}"):
        whole = path.read_bytes()
        new = {"cut short": whole[: len(whole) // 3], "emptied": b"", "overwritten": b"\x00garbage" * 100}[damage]
        path.write_bytes(new)
    again = small_run()
    assert again.ended == "complete"
    assert again.notes == []
    assert set(times(filled)) == set(before)
    assert all(path.stat().st_size > 200 for path in filled.rglob("*.nb*"))  # sound ones stand in their place


def test_the_name_changes_with_the_source():
    one = kernel_cache.kernel_name("a = 1")
    assert one == kernel_cache.kernel_name("a = 1")
    assert one != kernel_cache.kernel_name("a = 2")
    assert one.isidentifier()


def test_without_numba_the_same_numbers_come_out():
    # NUMBA_DISABLE_JIT: every loop runs as plain Python, which shows that no compiled code hides anything.
    code = """
import sys, numpy as np
from tests.support import model_of, plan_of, workshop
from beltspring.sim.simulate.run import run
scenario = workshop("corexy", {"move.size_mm": 1, "move.settle_ms": 5})
system = model_of(scenario)
for loop in ("generated", "reference"):
    np.save(f"{sys.argv[1]}/{sys.argv[2]}-{loop}.npy", run(system, plan_of(scenario, system), loop=loop).tool)
"""
    with tempfile.TemporaryDirectory() as place:
        root = str(Path(__file__).resolve().parents[2])
        for name, off in (("plain", "1"), ("compiled", "0")):
            environment = dict(os.environ, NUMBA_DISABLE_JIT=off, PYTHONPATH=os.pathsep.join([root, *sys.path]))
            if off == "1":
                environment["BELTSPRING_CACHE"] = f"{place}/cache"
            subprocess.run([sys.executable, "-c", code, place, name], env=environment, cwd=root, check=True)
        runs = {p.stem: np.load(p) for p in Path(place).glob("*.npy")}
    assert len(runs) == 4
    for name, tool in runs.items():
        assert np.abs(tool - runs["plain-reference"]).max() < 1e-9, name

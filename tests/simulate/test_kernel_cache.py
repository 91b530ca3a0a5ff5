"""Compiled step loops kept between runs: found again, private, and never the reason a run fails."""

from __future__ import annotations

import itertools
import json
import os
import pickle
import shutil
import subprocess
import sys
import tempfile
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from beltspring.sim import caches, finished
from beltspring.sim.simulate import kernel_cache
from beltspring.sim.simulate.generated import source
from beltspring.sim.simulate.run import run
from beltspring.sim.trace import Trace

from tests.support import bare, model_of, plan_of

#: Where kept machine code needs no compiler to run: elsewhere numba loads it.
without_numba = pytest.mark.skipif(finished._surroundings() is None, reason="Linux on x86-64")
SHORT = {"move.size_mm": 5, "move.settle_ms": 5}


@pytest.fixture
def folder(tmp_path, monkeypatch) -> Path:
    """An empty cache folder, and nothing loaded yet."""
    place = tmp_path / "kernels"
    monkeypatch.setenv("BELTSPRING_CACHE", str(place))
    monkeypatch.setattr(finished, "off", False)  # whatever is set outside
    forget(monkeypatch)
    return place


@pytest.fixture(scope="module")
def compiled(tmp_path_factory) -> Path:
    """A cache folder in which the kernel of `small_run` was compiled once."""
    place = tmp_path_factory.mktemp("compiled") / "kernels"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("BELTSPRING_CACHE", str(place))
        patch.setattr(finished, "off", False)
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
    monkeypatch.setattr(caches, "_troubles", [])
    for name in [name for name in sys.modules if name.startswith("_beltspring_loop_")]:
        monkeypatch.delitem(sys.modules, name)


def times(folder: Path) -> dict[str, int]:
    return {p.name: p.stat().st_mtime_ns for p in folder.rglob("*.code")}


def test_a_kernel_is_kept_and_found_again(folder, monkeypatch):
    assert not kernel_cache.is_cached(text())
    first = small_run()
    assert first.notes == []
    assert kernel_cache.is_cached(text())
    kept = times(folder)
    assert any(name.startswith("loop_") for name in kept)
    forget(monkeypatch)
    second = small_run()
    assert second.notes == []
    assert np.array_equal(first.tool, second.tool)
    assert times(folder) == kept  # read, not compiled once more
    assert not list(folder.glob("*.part"))


def test_machine_code_is_there_before_the_first_call(filled, monkeypatch):
    # All argument types are known beforehand: one version is compiled, and the first window does not wait for another.
    monkeypatch.setattr(finished, "off", True)
    kernel, notes = kernel_cache.load_kernel(text())
    assert notes == []
    assert len(kernel.dispatcher.signatures) == 1
    small_run()
    assert len(kernel.dispatcher.signatures) == 1


@without_numba
def test_machine_code_that_is_kept_runs_without_the_compiler(filled, monkeypatch):
    kernel, _ = kernel_cache.load_kernel(text())
    trace = small_run()
    assert kernel._made is None
    forget(monkeypatch)
    monkeypatch.setattr(finished, "off", True)
    assert small_run().tool.tobytes() == trace.tool.tobytes()


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


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 3])


def one_bit(path: Path) -> None:
    whole = bytearray(path.read_bytes())
    whole[len(whole) // 2] ^= 0x10  # in the machine code itself
    path.write_bytes(whole)


def a_folder(path: Path) -> None:
    path.unlink()
    path.mkdir()
    (path / "inside").write_text("x")


def a_pipe(path: Path) -> None:
    path.unlink()
    os.mkfifo(path)


def a_loose_link(path: Path) -> None:
    path.unlink()
    path.symlink_to(path.with_name("nowhere"))


def not_ours(path: Path) -> None:
    # Sound, but made by other libraries: it unpickles to something that is no compiled result.
    caches.keep(path.stem, pickle.dumps(("x",) * 9))


def no_pickle(path: Path) -> None:
    caches.keep(path.stem, b"\x80\x05garbage")


DAMAGES = {
    "emptied": lambda path: path.write_bytes(b""),
    "cut short": cut,
    "overwritten": lambda path: path.write_bytes(b"\x00\xff\xfegarbage" * 100),
    "grown": lambda path: path.write_bytes(path.read_bytes() + b"\0"),
    "one bit fallen over": one_bit,
    "gone": lambda path: path.unlink(),
    "a folder": a_folder,
    "a pipe": a_pipe,
    "a link to nothing": a_loose_link,
    "not ours": not_ours,
    "no pickle": no_pickle,
}


@pytest.mark.parametrize("damage", DAMAGES)
def test_whatever_is_damaged_is_compiled_afresh_and_gives_the_same(filled, monkeypatch, damage):
    first = small_run()
    forget(monkeypatch)
    paths = list(filled.glob("*loop_*.code"))
    assert len(paths) == 1 + (finished._surroundings() is not None)
    sound = [path.stat().st_size for path in paths]
    for path in paths:
        DAMAGES[damage](path)
        assert damage == "gone" or path.exists() or path.is_symlink()
    again = small_run()
    assert again.ended == "complete"
    assert again.notes == []
    assert again.tool.tobytes() == first.tool.tobytes()
    assert all(path.is_file() for path in paths)
    # Sound ones stand in their places.
    assert [path.stat().st_size for path in paths] == pytest.approx(sound, abs=1000)
    assert not list(filled.glob("*.part"))


def not_allowed(path: Path) -> None:
    # Sound, and asks for what no loop of ours calls.
    content = caches.kept(path.stem) or b""
    caches.keep(path.stem, content.replace(b'"malloc"', b'"system"').replace(b'"memset"', b'"system"'))


@without_numba
@pytest.mark.parametrize("damage", [one_bit, not_ours, not_allowed])
def test_what_runs_without_numba_is_made_again_from_what_numba_kept(filled, monkeypatch, damage):
    first = small_run()
    forget(monkeypatch)
    (path,) = filled.glob("ready_loop_*.code")
    content, before = caches.kept(path.stem), times(filled)
    damage(path)
    assert small_run().tool.tobytes() == first.tool.tobytes()
    assert caches.kept(path.stem) == content
    assert {name for name, at in times(filled).items() if at != before[name]} == {path.name}  # nothing was compiled


def a_run(folder: Path, place: Path, limit_bytes: int | None = None, **environment: str) -> tuple[Any, str]:
    """Run a scenario in a process of its own with this cache folder: its numbers, and standard error."""
    code = "import sys, resource, signal\n"
    if limit_bytes is not None:
        code += f"resource.setrlimit(resource.RLIMIT_FSIZE, ({limit_bytes}, {limit_bytes}))\n"
    code += "from beltspring.viz.cli import main; sys.exit(main(['run', 'spring-mass', '--json']))"
    settings = dict(os.environ, BELTSPRING_CACHE=str(folder), **environment)
    made = subprocess.run([sys.executable, "-c", code], env=settings, cwd=place, capture_output=True, text=True)
    assert made.returncode == 0, made.stderr
    numbers = json.loads(made.stdout)
    del numbers["times_real_time"]
    return numbers, made.stderr


@pytest.fixture(scope="module")
def first_run(tmp_path_factory) -> tuple[Path, Any, str]:
    """A place where the scenario was run for the first time (its cache folder is `cache`); its numbers, standard error."""
    place = tmp_path_factory.mktemp("first")
    return place, *a_run(place / "cache", place, NUMBA_CACHE_DIR=str(place / "theirs"))


@pytest.fixture
def used(first_run, tmp_path) -> Path:
    """That cache folder, as a later process finds it."""
    folder = tmp_path / "cache"
    shutil.copytree(first_run[0] / "cache", folder, copy_function=shutil.copy2)
    folder.chmod(0o700)
    return folder


def test_damaged_loops_of_the_plan_are_compiled_afresh_too(first_run, used, tmp_path):
    # Loops beside the kernel are loaded once a process: so this takes one of its own.
    for path, damage in zip(
        sorted(used.glob("*.code")), itertools.cycle(("emptied", "one bit fallen over", "overwritten"))
    ):
        DAMAGES[damage](path)
        assert caches._sound(path) is None
    numbers, said = a_run(used, tmp_path)
    assert said == ""
    assert numbers == first_run[1]
    assert len(list(used.glob("*.code"))) > 3
    assert all(caches._sound(path) is not None for path in used.glob("*.code"))


def test_on_a_full_disk_the_loops_are_compiled_for_this_run_and_it_says_so(tmp_path):
    # A limit on the size of files stands for the full disk: every write beyond a kilobyte fails.
    folder = tmp_path / "cache"
    numbers, said = a_run(folder, tmp_path, limit_bytes=1024)
    assert numbers["ended"] == "complete"
    (note,) = said.splitlines()
    assert note.startswith("note: the step loop was compiled for this run only")
    assert list(folder.iterdir()) == []


def test_no_place_but_our_own_is_written(first_run):
    # numba's own variable belongs to the person's other programs, and beside the installed files nothing may lie.
    place, numbers, said = first_run
    assert numbers["ended"] == "complete"
    assert said == ""
    assert [path.name for path in place.iterdir()] == ["cache"]
    assert not list(Path(caches.__file__).parent.rglob("*.nb*"))
    assert all(path.is_file() for path in (place / "cache").iterdir())
    assert all(path.stat().st_mode & 0o077 == 0 for path in (place / "cache").iterdir())


def test_without_a_home_no_folder_is_made_where_one_stands(monkeypatch, tmp_path):
    monkeypatch.delenv("BELTSPRING_CACHE", raising=False)
    monkeypatch.setattr("platformdirs.user_cache_dir", lambda *a, **k: "~/.cache/beltspring")
    monkeypatch.chdir(tmp_path)
    forget(monkeypatch)
    trace = small_run()
    assert trace.ended == "complete"
    assert "there is no home folder" in trace.notes[0]
    assert list(tmp_path.iterdir()) == []


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


def test_a_symbol_nobody_has_is_compiled_afresh_and_does_not_end_the_process(filled, monkeypatch):
    # Machine code that calls what this process does not hold would end it, without a word, when it is first linked.
    monkeypatch.setattr(finished, "off", True)
    first = small_run()
    forget(monkeypatch)
    (path,) = filled.glob("loop_*.code")
    outside, reduced = pickle.loads(caches.kept(path.stem) or b"")
    assert "NRT_adapt_ndarray_from_python" in outside
    caches.keep(path.stem, pickle.dumps(((*outside, "nobody_has_this"), reduced)))
    assert small_run().tool.tobytes() == first.tool.tobytes()
    again, _ = pickle.loads(caches.kept(path.stem) or b"")
    assert again == outside


def test_a_warm_run_does_not_load_what_only_compiling_needs(used, tmp_path):
    heavy = ("numba.np.arraymath", "numba.np.linalg", "scipy.linalg")
    heavy += ("numba", "llvmlite") if finished._surroundings() else ()
    script = (
        "import sys; from beltspring.viz.cli import main; main(['run', 'spring-mass', '--json']);"
        f"heavy = {heavy}; print([m for m in heavy if m in sys.modules], file=sys.stderr)"
    )
    settings = dict(os.environ, BELTSPRING_CACHE=str(used))
    made = subprocess.run([sys.executable, "-c", script], env=settings, cwd=tmp_path, capture_output=True, text=True)
    assert made.stderr.split() == ["[]"]


@pytest.mark.parametrize("asked", [np.zeros(3), np.zeros((4, 4))[::2, ::2], 1.5])
def test_no_thread_asks_for_a_type_while_another_compiles(asked):
    # The first function compiled fills the table of types that the question walks through.
    from beltspring.sim import compiled as how
    from numba.core.compiler_lock import global_compiler_lock

    @how.compiled
    def itself(x: Any) -> Any:
        return x

    dispatcher: Any = itself
    dispatcher, answered = dispatcher.dispatcher, threading.Event()

    def ask() -> None:
        dispatcher.typeof_pyval(asked)
        answered.set()

    other = threading.Thread(target=ask)
    with global_compiler_lock:
        other.start()
        assert not answered.wait(0.2)
    assert answered.wait(10)
    other.join()


def test_threads_that_ask_for_the_same_kernel_get_one(filled):
    with ThreadPoolExecutor(4) as pool:
        kernels = list(pool.map(lambda _: kernel_cache.load_kernel(text())[0], range(4)))
    assert len({id(kernel) for kernel in kernels}) == 1


@pytest.mark.parametrize("count", [1, 7, 8, 200])
def test_numbers_of_a_loop_begin_where_a_line_of_the_cache_does(count):
    """64 bytes on every processor that the loops run on; and they are its own."""
    numbers = np.arange(float(count))
    held = [kernel_cache.beginning_a_line(numbers) for _ in range(20)]
    assert all(one.ctypes.data % 64 == 0 and np.array_equal(one, numbers) for one in held)
    held[0][0] = 5.0
    assert numbers[0] == held[1][0] == 0.0


def test_what_is_written_has_a_module_where_its_names_are_looked_up():
    made = kernel_cache._written("three = 3\n\ndef advance():\n    return three\n", "of_a_test")
    try:
        assert vars(sys.modules[made.__module__])["three"] == made() == 3
    finally:
        sys.modules.pop(made.__module__, None)

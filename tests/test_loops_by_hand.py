"""Loops and what is kept of them between runs, without compiling any: who is asked for machine code, and when."""

from __future__ import annotations

import ctypes
import errno
import io
import os
import pickle
import platform
import sys
from pathlib import Path
from types import SimpleNamespace as Made
from typing import Any

import numba
import numpy as np
import pytest
from beltspring.sim import caches, compiled, compiling, files, finished, finishing
from beltspring.sim.compiled import Loop, for_size, formula, switched_off
from beltspring.sim.errors import BeltspringError, InputError, MachineError, RunError, ScenarioError


class Block:
    """Stands for finished machine code of one whole number."""

    def takes(self, arguments: Any) -> bool:
        return len(arguments) == 1 and isinstance(arguments[0], int)

    def __call__(self, *arguments: Any) -> str:
        return f"block {arguments}"


@pytest.fixture
def kept(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What is kept, by name; who asked for it is under "asked"."""
    there: dict[str, Any] = {"asked": []}

    def found(name: str) -> Any:
        there["asked"].append(name)
        return there.get(name)

    monkeypatch.setattr(finished, "found", found)
    monkeypatch.setattr(finished, "name_of", lambda stem, kinds, *parts: f"{stem} {''.join(kinds)} {parts}")
    monkeypatch.setattr(compiled, "ready_for_numba", lambda: there["asked"].append("numba"))
    return there


def loop() -> Loop:
    return Loop(lambda: lambda *arguments: f"compiled {arguments}", "walk", lambda: ("source",))


def test_kept_machine_code_is_called_without_numba_and_looked_for_once(kept):
    kept["walk q ('source',)"] = Block()
    one = loop()
    assert [one(3), one(4)] == ["block (3,)", "block (4,)"]
    assert kept["asked"] == ["walk q ('source',)"]
    assert one.name(("d",)) == "walk d ('source',)"


def test_what_is_not_kept_is_compiled_once_and_from_then_on_called(kept):
    kept["walk q ('source',)"] = Block()
    one = loop()
    assert one(0.5) == "compiled (0.5,)"
    assert kept["asked"] == ["walk d ('source',)", "numba"]
    assert [one(0.5), one("x")] == ["compiled (0.5,)", "compiled ('x',)"]
    assert one.dispatcher is one.dispatcher
    assert kept["asked"] == ["walk d ('source',)", "numba"]


def test_arguments_of_another_kind_get_machine_code_of_their_own(kept):
    kept["walk q ('source',)"] = Block()
    one = loop()
    assert one(3) == "block (3,)"
    assert one(0.5) == "compiled (0.5,)"
    assert one(3) == "block (3,)", "the last that was found is still there"


def test_what_is_of_no_kind_goes_to_numba_without_a_look(kept):
    one = loop()
    assert one("x") == "compiled ('x',)"
    assert kept["asked"] == ["numba"]


def test_a_loop_of_few_items_runs_as_it_is_written(monkeypatch):
    monkeypatch.setattr(compiled, "WORTH_COMPILING", 10)
    loop: Any = Made(py_func="plain")
    assert for_size(loop, 9) == "plain"
    assert for_size(loop, 10) is loop
    assert for_size(max, 0) is max


def test_what_is_compiled_looks_like_the_function_it_was_made_of():
    def walk(x):
        """Walks."""
        return x

    one: Any = compiled.compiled(walk)
    assert (one.__name__, one.__doc__, one.py_func) == ("walk", "Walks.", walk)
    assert one.__wrapped__ is walk


def test_numbas_own_switch_is_asked_where_numba_is_loaded(monkeypatch):
    monkeypatch.delenv("NUMBA_DISABLE_JIT", raising=False)
    for said in (0, 1):
        monkeypatch.setattr(numba.config, "DISABLE_JIT", said)
        assert switched_off() == bool(said)


@pytest.mark.parametrize(("said", "off"), [(None, False), ("", False), ("0", False), ("1", True), ("2", True)])
def test_where_numba_is_not_loaded_its_variable_says_whether_loops_are_compiled(monkeypatch, tmp_path, said, off):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delitem(sys.modules, "numba")
    monkeypatch.delenv("NUMBA_DISABLE_JIT", raising=False)
    if said is not None:
        monkeypatch.setenv("NUMBA_DISABLE_JIT", said)
    assert switched_off() is off
    assert "numba" not in sys.modules


def test_formulas_are_told_to_numba_once_it_is_there(monkeypatch):
    from numba import extending

    told: list[Any] = []
    monkeypatch.setattr(extending, "register_jitable", told.append)
    monkeypatch.setattr(compiled, "_untold", [])
    assert formula(abs) is abs
    assert told == [abs]
    with monkeypatch.context() as patch:
        patch.delitem(sys.modules, "numba.extending")
        formula(max)
        assert told == [abs]
    formula(min)
    assert sorted(f.__name__ for f in told) == ["abs", "max", "min"]
    assert compiled._untold == []


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("BELTSPRING_CACHE", str(tmp_path / "kernels"))
    monkeypatch.setattr(caches, "_troubles", [])
    return tmp_path / "kernels"


def finish(monkeypatch: pytest.MonkeyPatch, block: Any, kinds: Any = ("d",), name: str | None = "ready") -> list[Any]:
    """Keep a compiled result that can be had as such a block; what was asked for a block."""
    asked: list[Any] = []

    def made(reduced: Any, context: Any, kinds: Any) -> Any:
        asked.append(kinds)
        if isinstance(block, Exception):
            raise block
        return block

    monkeypatch.setattr(finishing, "kinds_of", lambda types: kinds)
    monkeypatch.setattr(finishing, "block", made)
    store = compiling._Kept(lambda signature: "a", lambda kinds: name)
    library = Made(has_dynamic_globals=False, _final_module=Made(functions=[]))
    reduced = (1, 2, 3, Made(args=()))
    store.save_overload("signature", Made(lifted=[], library=library, target_context=None, _reduce=lambda: reduced))
    assert caches.kept("a") is not None
    return asked


def test_a_compiled_loop_is_kept_a_second_time_where_it_can_run_without_numba(folder, monkeypatch):
    assert finish(monkeypatch, b"block") == [("d",)]
    assert caches.kept("ready") == b"block"
    assert finish(monkeypatch, b"another") == [], "it is there already"
    assert caches.kept("ready") == b"block"


@pytest.mark.parametrize(
    ("what", "asked"),
    [({"block": None}, 1), ({"block": ValueError()}, 1), ({"block": b"b", "kinds": None}, 0), ({"block": b"b", "name": None}, 0)],
)  # fmt: skip
def test_where_it_cannot_only_numbas_own_is_kept(folder, monkeypatch, what, asked):
    assert len(finish(monkeypatch, **what)) == asked
    assert [p.name for p in folder.iterdir()] == ["a.code"]


@pytest.mark.skipif(finished._surroundings() is None, reason="blocks are for Linux on x86-64")
def test_names_that_machine_code_calls_are_looked_for_in_this_process():
    assert compiling._all_there(())
    import llvmlite.binding

    for name in ("beltspring_test_one", "beltspring_test_two"):
        llvmlite.binding.add_symbol(name, finished.address_of("sin"))
    assert compiling._all_there(("beltspring_test_one", "beltspring_test_two"))
    assert not compiling._all_there(("beltspring_test_one", "nobody_has_a_name_like_this"))


def test_what_machine_code_calls_is_what_is_only_declared_in_it():
    functions = [Made(name=n, is_declaration=d) for n, d in (("f", False), ("sin", True), ("llvm.fabs", True))]
    assert compiling._from_outside(Made(_final_module=Made(functions=functions))) == ("sin",)


def test_the_cache_is_the_persons_own_without_a_folder_of_an_author(monkeypatch):
    """platformdirs: appauthor=False leaves out the folder of an author."""
    asked: list[Any] = []
    monkeypatch.delenv("BELTSPRING_CACHE", raising=False)
    monkeypatch.setattr(
        caches.platformdirs, "user_cache_dir", lambda name, appauthor: asked.append((name, appauthor)) or "/somewhere"
    )
    assert caches.cache_folder() == Path("/somewhere/kernels")
    assert asked == [("beltspring", False)]


def test_the_persons_own_folder_is_used_and_one_that_is_named_from_here(monkeypatch, tmp_path):
    monkeypatch.setattr(caches, "_troubles", [])
    monkeypatch.delenv("BELTSPRING_CACHE", raising=False)
    monkeypatch.setattr(caches.platformdirs, "user_cache_dir", lambda name, appauthor: str(tmp_path / "own"))
    caches.keep("a", b"content")
    assert (tmp_path / "own" / "kernels" / "a.code").exists()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BELTSPRING_CACHE", "here")
    caches.keep("a", b"content")
    assert (tmp_path / "here" / "a.code").exists()
    assert caches.trouble() is None


def test_a_file_that_cannot_be_opened_or_read_says_why_in_the_systems_words(tmp_path, monkeypatch):
    with pytest.raises(InputError, match=r"none.txt: cannot be read \(No such file or directory\); check the path$"):
        files.read_text(tmp_path / "none.txt", "a note", 10)
    with pytest.raises(InputError, match=r"is a folder; give the file inside it$"):
        files.read_text(tmp_path, "a note", 10)

    class Broken:
        def __enter__(self) -> Broken:
            return self

        def __exit__(self, *_: object) -> None:
            pass

        def read(self, most: int) -> bytes:
            raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(files, "opened", lambda path, what: Broken())
    with pytest.raises(InputError, match=r"a.txt: cannot be read \(Input/output error\); check the path$"):
        files.read_text(tmp_path / "a.txt", "a note", 10)


def test_what_an_error_tells_is_all_its_problems_and_a_remedy_of_its_own():
    several = ScenarioError(["one.", "two."])
    assert (str(several), several.problems) == ("one.\ntwo.", ["one.", "two."])
    remedy = {"belts.part": "other"}
    stuck = MachineError("cannot move", remedy)
    remedy.clear()
    assert (str(stuck), stuck.remedy) == ("cannot move", {"belts.part": "other"})
    assert MachineError("x").remedy == {}
    assert issubclass(ScenarioError, InputError)
    assert issubclass(MachineError, InputError)
    assert issubclass(RunError, BeltspringError)
    assert not issubclass(RunError, InputError)


@pytest.mark.skipif(finished._surroundings() is None, reason="blocks are for Linux on x86-64")
def test_what_is_packed_and_called_by_hand_is_laid_with_its_addresses():
    """Eight bytes at 8 that hold where the block itself begins, and at 16 where sin is, one further on."""
    code = bytes(24)
    start = finished._lay(code, [[8, 0, 5], [16, 1, 1]], ["sin"])
    words = (ctypes.c_uint64 * 3).from_address(start)
    assert list(words) == [0, start + 5, finished.address_of("sin") + 1]
    with pytest.raises(AttributeError):
        finished._lay(code, [], ["system"])
    assert np.isclose(ctypes.CFUNCTYPE(ctypes.c_double, ctypes.c_double)(words[2] - 1)(0.5), np.sin(0.5))


@pytest.mark.skipif(finished._surroundings() is None, reason="blocks are for Linux on x86-64")
def test_surroundings_are_told_by_what_is_there(monkeypatch):
    with pytest.raises(ValueError, match="no_such_library_of_ours"):
        finished._library("no_such_library_of_ours")
    assert b"version" in finished._library("numba")[0][1]
    assert finished._array_as_known()
    for name, other in (("DATA_AT", 24), ("SHAPE_AT", 40), ("STRIDES_AT", 32)):
        with monkeypatch.context() as patch:
            patch.setattr(finished, name, other)
            assert not finished._array_as_known()
    with monkeypatch.context() as patch:
        for where, name, other in ((platform, "machine", lambda: "other"), (sys, "platform", "other")):
            patch.setattr(where, name, other)
            finished._surroundings.cache_clear()
            assert finished._surroundings() is None
            patch.undo()
    finished._surroundings.cache_clear()


@pytest.mark.skipif(finished._surroundings() is None, reason="blocks are for Linux on x86-64")
def test_the_systems_own_number_of_an_error_is_kept():
    """POSIX, mprotect: EINVAL for an address that is no multiple of a page."""
    ctypes.set_errno(0)
    assert finished._c_library().mprotect(ctypes.c_void_p(1), ctypes.c_size_t(1), 0) == -1
    assert ctypes.get_errno() == errno.EINVAL


@pytest.mark.skipif(finished._surroundings() is None, reason="blocks are for Linux on x86-64")
def test_where_memory_may_not_be_run_there_is_no_block(monkeypatch):
    def mprotect(*_: Any) -> int:
        return -1

    monkeypatch.setattr(finished, "_c_library", lambda: Made(mprotect=mprotect))
    with pytest.raises(OSError, match="memory that may be run"):
        finished._lay(bytes(8), [], [])


def test_what_code_holds_of_numbas_own_modules_is_read_without_loading_them():
    from numba.core import environment

    for given, read in ((environment._rebuild_env, compiling._surroundings_of), (os.path.join, os.path.join)):
        assert compiling._Reader(io.BytesIO(pickle.dumps(given))).load() is read


def test_the_first_processor_is_told_by_its_make_and_features(monkeypatch):
    """As proc(5) has /proc/cpuinfo: a block of lines for each processor, an empty line behind it."""
    lines = ["processor : 0", "vendor_id : Ours", "model : 7", "cpu MHz : 2000", "flags : fpu avx", "", "flags : other"]
    monkeypatch.setattr(finished, "open", lambda *_, **__: io.StringIO("\n".join(lines) + "\n"), raising=False)
    assert finished._processor() == ["vendor_id : Ours", "model : 7", "flags : fpu avx"]
    del lines[4]
    with pytest.raises(ValueError, match="features"):
        finished._processor()

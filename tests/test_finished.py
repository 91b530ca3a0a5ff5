"""Kept machine code run without the compiler: it says what the plain Python function says, and is refused where it may not."""

from __future__ import annotations

import ctypes
import gc
import math
import os
import struct
import subprocess
import sys

import numpy as np
import pytest
from beltspring.sim import caches, finished, linking
from beltspring.sim.compiled import Loop, compiled

HERE = finished._surroundings() is not None
assert HERE or "CI" not in os.environ, "where everything must hold, machine code is kept as blocks"
pytestmark = pytest.mark.skipif(not HERE, reason="blocks are for Linux on x86-64; elsewhere numba loads what is kept")


@pytest.fixture(autouse=True)
def used(monkeypatch):
    """Blocks are used here, whatever is set outside."""
    monkeypatch.setattr(finished, "off", False)


@compiled
def mixture(a, b, marks, few, many, small, x, n, yes):
    """Every kind of argument and number, in an order that tells them apart; memory of its own; numbers returned."""
    spare = np.zeros(n)
    for i in range(n):
        spare[i] = math.sin(a[i, 1]) * x + few[i]
        a[i, 0] += spare[i] * b[i]
        if marks[i] and yes:
            many[i] -= small[i]
    return spare.sum(), n - 1, not yes


@compiled
def sums(a, b):
    """Two arrays returned, one of them empty where b is."""
    return a + 1.0, np.cumsum(b)


@compiled
def share(a, n):
    """Divides by whatever it is given."""
    return a[0] / n


def given():
    r = np.random.default_rng(4)
    marks = np.array([True, False, True, True])
    few, many = np.arange(4, dtype=np.int32), np.arange(4) * 2**40
    return r.random((4, 3)), r.random(4), marks, few, many, np.arange(4, dtype=np.int8), 0.3, 4, True


@pytest.fixture(scope="module")
def ready(tmp_path_factory):
    """Each of the loops above, compiled once, as a later process finds it."""
    asked = {mixture: given(), sums: (np.ones((2, 3)), np.ones(9)), share: (np.ones(1), 2)}
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("BELTSPRING_CACHE", str(tmp_path_factory.mktemp("compiled") / "kernels"))
        patch.setattr(finished, "off", False)
        for loop, arguments in asked.items():
            assert loop.ready(finished.kinds_of(arguments)) is None
            loop(*arguments)
        found = {
            loop: Loop(loop._make, loop._stem, loop._parts).ready(finished.kinds_of(arguments))
            for loop, arguments in asked.items()
        }
    assert None not in found.values()
    return found


def test_it_says_what_python_says(ready):
    own, plain = given(), given()
    assert ready[mixture].takes(own)
    assert ready[mixture](*own) == pytest.approx(mixture.py_func(*plain), rel=1e-15)
    for a, b in zip(own, plain, strict=True):
        assert np.array_equal(a, b)


def test_what_it_returns_lives_as_long_as_it_is_used(ready):
    a, b = np.arange(6.0).reshape(2, 3), np.arange(200_000.0)
    loop = ready[sums]
    first, second = loop(a, b)
    assert np.array_equal(first, a + 1.0)
    assert np.array_equal(second, np.cumsum(b))
    part = second[5:8]
    del second
    gc.collect()
    loop(a, b[::-1].copy())
    assert part.tolist() == [15.0, 21.0, 28.0]
    assert loop(a, np.zeros(0))[1].shape == (0,)
    # Let go of: 300 times 1.6 MB would be seen.
    import resource

    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for _ in range(300):
        loop(a, b)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 100_000


ENDING = """
import gc, os
from beltspring.sim import finished

class Ring:
    pass

def release(owner, write=os.write):
    write(1, b"released %d " % owner)

gc.disable()
finished._Owned({}, 1, release)
ring = Ring()
ring.itself, ring.owned = ring, finished._Owned({}, 2, release)  # found only as the process ends
"""


def test_as_the_process_ends_nothing_is_let_go_of_by_code_that_may_be_gone():
    """Else an array in a ring calls into memory given back already: a crash after everything was done."""
    made = subprocess.run([sys.executable, "-c", ENDING], capture_output=True, text=True, timeout=120)
    assert (made.returncode, made.stdout, made.stderr) == (0, "released 1 ", "")


def test_an_error_is_the_one_of_the_function(ready):
    assert ready[share](np.ones(1), 4) == 0.25
    with pytest.raises(ZeroDivisionError, match="division by zero"):
        ready[share](np.ones(1), 0)


@pytest.mark.parametrize(
    "other",
    [
        (np.ones(1, dtype=np.float32), 2), (np.ones((1, 1)), 2), (np.ones(4)[::2], 2), (np.ones(1), 2.0), (np.ones(1), True),
        (np.ones(1),), ([1.0], 2), (np.ones(1, dtype=">f8"), 2), (np.ones(1), 2**63),
        (np.broadcast_to(np.ones(1), (3,)), 2), (np.frombuffer(bytes(17), offset=1), 2),
    ],
)  # fmt: skip
def test_other_arguments_are_not_for_it(ready, other):
    assert not ready[share].takes(other)
    assert finished.kinds_of(other) != ("d1", "q")


def test_its_name_tells_all_that_it_depends_on(monkeypatch):
    def name():
        finished._surroundings.cache_clear()
        return finished.name_of("a", ("d1",), "source")

    try:
        first = name()
        assert first == name()
        monkeypatch.setattr(finished, "_processor", lambda: ["flags: none"])
        second = name()
        monkeypatch.setenv("NUMBA_OPT", "1")
        third = name()
        monkeypatch.setattr(finished, "_library", lambda package: [("version", b"another")])
        fourth = name()
        monkeypatch.setattr(sys, "version", "another")
        assert len({first, second, third, fourth, name()}) == 5
        others = {finished.name_of("a", ("d2",), "source"), finished.name_of("a", ("d1",), "other"), name()}
        assert len(others) == 3
        monkeypatch.setattr(finished, "_array_as_known", lambda: False)
        assert name() is None
    finally:
        monkeypatch.undo()
        finished._surroundings.cache_clear()


def test_settings_of_numbas_in_the_folder_leave_it_to_numba(monkeypatch, tmp_path):
    (tmp_path / ".numba_config.yaml").write_text("opt: 1\n")
    monkeypatch.chdir(tmp_path)
    finished._surroundings.cache_clear()
    try:
        assert finished.name_of("a", ("d1",)) is None
    finally:
        finished._surroundings.cache_clear()


def emitted(text: str) -> bytes:
    """An object file, as the compiler's own library writes it, of a text in its language."""
    import llvmlite.binding
    from numba.core.registry import cpu_target

    return cpu_target.target_context.codegen()._tm.emit_object(llvmlite.binding.parse_assembly(text))


ROUND = """
@table = private constant [3 x i64] [i64 5, i64 7, i64 11]
@deep = private constant ptr @table
declare double @cos(double)
define void @gone(ptr %x) {
  ret void
}
define i64 @of_table(i64 %k) {
  %t = load ptr, ptr @deep
  %p = getelementptr i64, ptr %t, i64 %k
  %v = load i64, ptr %p
  ret i64 %v
}
define i32 @entry(ptr %m) {
  %k = load i64, ptr %m
  %v = call i64 @of_table(i64 %k)
  store i64 %v, ptr %m
  ret i32 0
}
"""


def test_joined_objects_run_wherever_they_are_put():
    made = linking.joined([emitted(ROUND)], ("entry", "gone"), finished.CALLED)
    assert made is not None
    assert made.calls == []
    starts = {finished._lay(made.code, made.places, made.calls) for _ in range(3)}
    assert len(starts) == 3
    for start in starts:
        entry = ctypes.CFUNCTYPE(ctypes.c_int32, ctypes.c_void_p)(start + made.found["entry"])
        for k, value in enumerate((5, 7, 11)):
            memory = ctypes.create_string_buffer(struct.pack("<q", k))
            assert entry(memory) == 0
            assert struct.unpack_from("<q", memory) == (value,)


@pytest.mark.parametrize(
    "change",
    [
        ("private constant [3", "private global [3"),  # written to
        ("@of_table(i64 %k)\n  store", "@elsewhere(i64 %k)\n  store"),  # nobody's
        ("define i32 @entry", "define i32 @another"),  # not there
    ],
)
def test_what_cannot_be_joined_is_refused(change):
    text = ROUND.replace(*change) + ("declare i64 @elsewhere(i64)\n" if "elsewhere" in change[1] else "")
    assert text != ROUND
    assert linking.joined([emitted(text)], ("entry", "gone"), finished.CALLED) is None


def test_an_object_of_another_kind_is_refused():
    made = bytearray(emitted(ROUND))
    made[18] = 183  # another processor's, by the same standard
    assert linking.joined([bytes(made)], ("entry",), finished.CALLED) is None


def test_a_block_calls_the_compilers_own_mathematics():
    # To the last bit, wherever numba has a way of its own to the same function.
    import llvmlite.binding

    r = np.random.default_rng(8)
    for name in sorted(finished.CALLED - {"malloc", "free", "memset", "memcpy", "memmove", "sincos"}):
        two = name in ("atan2", "pow", "fmod", "hypot")
        kind = ctypes.CFUNCTYPE(ctypes.c_double, *[ctypes.c_double] * (1 + two))
        theirs, ours = (kind(find(name)) for find in (llvmlite.binding.address_of_symbol, finished.address_of))
        for x in r.uniform(-1.0, 1.0, (200, 1 + two)) * 10.0 ** r.integers(-9, 4, (200, 1)):
            a, b = theirs(*x), ours(*x)
            assert struct.pack("d", a) == struct.pack("d", b) or (math.isnan(a) and math.isnan(b)), (name, x)
    with pytest.raises(AttributeError):
        finished.address_of("system")


def test_what_cannot_be_understood_is_thrown_away(tmp_path, monkeypatch):
    monkeypatch.setenv("BELTSPRING_CACHE", str(tmp_path / "kernels"))
    for content in (b"", b"\xff" * 9, finished.packed({}, b""), finished.packed({"kinds": 3}, b"x")):
        caches.keep("ready_a", content)
        assert finished.found("ready_a") is None
        assert caches.kept("ready_a") is None

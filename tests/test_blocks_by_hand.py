"""Machine code without its compiler, piece by piece: around functions written in the compiler's own language.

What arguments and results look like to machine code is numba's convention, asked of numba where it can be.
"""

from __future__ import annotations

import ctypes
import hashlib
import pickle
import struct
from types import SimpleNamespace as Made
from typing import Any

import numpy as np
import pytest
from beltspring.sim import finished, finishing, linking

pytestmark = pytest.mark.skipif(finished._surroundings() is None, reason="blocks are for Linux on x86-64")


def emitted(text: str) -> bytes:
    """An object file of a text in the compiler's own language."""
    import llvmlite.binding
    from numba.core.registry import cpu_target

    module = llvmlite.binding.parse_assembly(text)
    module.verify()
    return bytes(cpu_target.target_context.codegen()._tm.emit_object(module))


def blocked(native: str, returns: Any, *arguments: Any) -> finished.Finished:
    """A function @native of such types, as a block ready to be called."""
    from numba.core import typing
    from numba.core.registry import cpu_target

    kinds = finishing.kinds_of(arguments)
    assert kinds is not None
    signature = typing.signature(returns, *arguments)
    library = (None, "object", (emitted(native), None))
    reduced = (library, Made(mangled_name="native"), None, signature, "what else numba keeps")
    content = finishing.block(reduced, cpu_target.target_context, kinds)
    assert content is not None
    return finished.Finished(content)


ERROR = "{i8*, i32, i8*, i8*, i32}"
#: Tells each thing it was given, as numbers.
GIVEN = f"""
define i32 @native([10 x double]* %r, {ERROR}** %e, double %x, i8* %m, i8* %p, i64 %count, i64 %size, i32* %data,
                   i64 %l0, i64 %l1, i64 %s0, i64 %s1, i64 %n, i8 %yes) {{
  %third = getelementptr i32, i32* %data, i64 2
  %d = load i32, i32* %third
  %v0 = insertvalue [10 x double] undef, double %x, 0
  %c = sitofp i64 %count to double
  %v1 = insertvalue [10 x double] %v0, double %c, 1
  %z = sitofp i64 %size to double
  %v2 = insertvalue [10 x double] %v1, double %z, 2
  %f = sitofp i32 %d to double
  %v3 = insertvalue [10 x double] %v2, double %f, 3
  %a = sitofp i64 %l0 to double
  %v4 = insertvalue [10 x double] %v3, double %a, 4
  %b = sitofp i64 %l1 to double
  %v5 = insertvalue [10 x double] %v4, double %b, 5
  %g = sitofp i64 %s0 to double
  %v6 = insertvalue [10 x double] %v5, double %g, 6
  %h = sitofp i64 %s1 to double
  %v7 = insertvalue [10 x double] %v6, double %h, 7
  %i = sitofp i64 %n to double
  %v8 = insertvalue [10 x double] %v7, double %i, 8
  %j = uitofp i8 %yes to double
  %v9 = insertvalue [10 x double] %v8, double %j, 9
  store [10 x double] %v9, [10 x double]* %r
  ret i32 0
}}
"""


def test_a_function_gets_what_it_is_called_with():
    """Of an array its number of numbers, their size, the numbers, lengths and strides, as numpy has them."""
    from numba import types

    block = blocked(
        GIVEN, types.UniTuple(types.float64, 10), types.float64, types.Array(types.int32, 2, "C"), types.int64,
        types.boolean,
    )  # fmt: skip
    table = np.arange(12, dtype=np.int32).reshape(3, 4) + 5
    for x, n, yes in ((0.25, -7, True), (-3.5, 2**40, False)):
        assert block(x, table, n, yes) == (x, 12, 4, 7, 3, 4, *table.strides, n, yes)
    assert block.takes((0.5, table, 1, True))
    for other in (
        (0.5, table, 1), (1, table, 1, True), (0.5, table, 1, 2), (0.5, table[0], 1, True), (0.5, table[::2], 1, True),
        (0.5, table.astype(np.int64), 1, True), (0.5, table.tolist(), 1, True), (0.5, table, 1, True, True),
        (0.5, table, 2**63, True), (0.5, table.view(type("Own", (np.ndarray,), {})), 1, True),
    ):  # fmt: skip
        assert not block.takes(other)
    with pytest.raises(ValueError, match=r"zip\(\)"):
        block(0.5, table, 1)


@pytest.mark.parametrize(
    ("value", "kind"),
    [
        (1.5, "d"), (np.float64(1.5), "d"), (True, "?"), (np.True_, "?"), (3, "q"), (np.int64(3), "q"), (-(2**63), "q"),
        (2**63 - 1, "q"), (2**63, ""), (-(2**63) - 1, ""), (np.int32(3), ""), (np.float32(1), ""), ("x", ""), (None, ""),
        (np.zeros((2, 3)), "d2"), (np.zeros(2, np.int8), "b1"), (np.zeros(2, np.uint8), "B1"), (np.zeros(()), ""),
        (np.zeros(2, np.int32), "i1"), (np.zeros((2, 3)).T, ""), (np.zeros(2, complex), ""), (np.zeros(2, bool), "?1"),
    ],
)  # fmt: skip
def test_what_is_given_is_of_the_kind_numba_has_for_it(value, kind):
    """numba's own answer, `typeof`, put into our words, is the same wherever ours is not empty."""
    from numba import typeof

    assert finished.kinds_of([value]) == ((kind,) if kind else None)
    if kind:
        assert finishing.kinds_of([typeof(value)]) == (kind,)


def test_types_that_no_block_takes_have_no_kind():
    from numba import types

    plain = types.Array(types.float64, 1, "C")
    assert finishing.kinds_of([plain, types.int64]) == ("d1", "q")
    for other in (
        types.Array(types.float64, 1, "A"), types.Array(types.float64, 1, "C", readonly=True), types.unicode_type,
        types.Array(types.float64, 1, "C", aligned=False), types.Array(types.complex128, 1, "C"), types.int32,
        types.Array(types.float64, 0, "C"),
    ):  # fmt: skip
        assert finishing.kinds_of([plain, other]) is None
    assert finishing._result(types.none) is None
    assert finishing._result(types.boolean) == "?"
    assert finishing._result(types.Tuple((types.int64, plain))) == ["q", "d1"]
    for other in (types.Tuple(()), types.Tuple((types.int64, types.int32)), types.unicode_type):
        assert finishing._result(other) == ""


ARRAY = "{i8*, i8*, i64, i64, i64*, [2 x i64], [2 x i64]}"
#: A new array of k times three whole numbers, of which the second is written, a number, and the owner of that memory.
MADE = f"""
declare i8* @NRT_MemInfo_alloc_aligned(i64, i32)
define i32 @native({{{ARRAY}, double, i64}}* %r, {ERROR}** %e, i64 %k) {{
  %count = mul i64 %k, 3
  %size = mul i64 %count, 8
  %m = call i8* @NRT_MemInfo_alloc_aligned(i64 %size, i32 64)
  %fields = bitcast i8* %m to i64**
  %where = getelementptr i64*, i64** %fields, i64 3
  %data = load i64*, i64** %where
  %second = getelementptr i64, i64* %data, i64 1
  store i64 77, i64* %second
  %a0 = insertvalue {ARRAY} undef, i8* %m, 0
  %a1 = insertvalue {ARRAY} %a0, i8* null, 1
  %a2 = insertvalue {ARRAY} %a1, i64 %count, 2
  %a3 = insertvalue {ARRAY} %a2, i64 8, 3
  %a4 = insertvalue {ARRAY} %a3, i64* %data, 4
  %a5 = insertvalue {ARRAY} %a4, i64 %k, 5, 0
  %a6 = insertvalue {ARRAY} %a5, i64 3, 5, 1
  %a7 = insertvalue {ARRAY} %a6, i64 24, 6, 0
  %a8 = insertvalue {ARRAY} %a7, i64 8, 6, 1
  %n = ptrtoint i8* %m to i64
  %r0 = insertvalue {{{ARRAY}, double, i64}} undef, {ARRAY} %a8, 0
  %r1 = insertvalue {{{ARRAY}, double, i64}} %r0, double 0.75, 1
  %r2 = insertvalue {{{ARRAY}, double, i64}} %r1, i64 %n, 2
  store {{{ARRAY}, double, i64}} %r2, {{{ARRAY}, double, i64}}* %r
  ret i32 0
}}
"""


def test_a_returned_array_can_be_written_and_its_memory_is_let_go_of_once(monkeypatch):
    from numba import types

    block = blocked(MADE, types.Tuple((types.Array(types.int64, 2, "C"), types.float64, types.int64)), types.int64)
    released: list[int] = []
    monkeypatch.setattr(block, "_release", released.append)
    table, number, owner = block(4)
    assert number == 0.75
    assert table.base.__array_interface__["version"] == 3, "of the protocol, as numpy's manual has it"
    assert table.shape == (4, 3)
    assert table.dtype == np.int64
    assert table.strides == (24, 8)
    assert table[0, 1] == 77
    assert table.__array_interface__["data"][0] % 64 == 0
    assert table.flags.writeable
    table[3, 2] = 5
    part = table[1:]
    del table
    assert released == []
    assert part[2, 2] == 5
    del part
    assert released == [owner]


#: Memory and its end as a test sees them: what is asked for is noted in place of being given.
WATCHED = """
define i8* @malloc(i64 %size) {
  %at = inttoptr i64 ADDRESS to i64*
  store i64 %size, i64* %at
  %big = icmp ugt i64 %size, 1000
  %first = getelementptr i64, i64* %at, i64 2
  %room = bitcast i64* %first to i8*
  %given = select i1 %big, i8* null, i8* %room
  ret i8* %given
}
define void @free(i8* %x) {
  %at = inttoptr i64 ADDRESS to i64*
  %second = getelementptr i64, i64* %at, i64 1
  %n = ptrtoint i8* %x to i64
  store i64 %n, i64* %second
  ret void
}
"""
ALLOCATE, RELEASE, RESHAPE = "NRT_MemInfo_alloc_aligned", "beltspring_release", "numba_attempt_nocopy_reshape"


def test_memory_is_given_aligned_with_its_owner_before_it_and_freed_after_its_last_use():
    """The owner: uses, three pointers the last of which is to the memory, its size, one pointer more (numba's convention)."""
    from numba.core import types, typing
    from numba.core.registry import cpu_target

    raw = ctypes.create_string_buffer(2048)
    address = (ctypes.addressof(raw) + 63) // 64 * 64
    noted = (ctypes.c_int64 * 200).from_address(address)
    ours = finishing._own_object(cpu_target.target_context, "native", typing.signature(types.none), ())
    made = linking.joined(
        [emitted(WATCHED.replace("ADDRESS", str(address))), ours], (ALLOCATE, RELEASE, "NRT_MemInfo_call_dtor"), ()
    )
    assert made is not None
    start = finished._lay(made.code, made.places, made.calls)
    give = ctypes.CFUNCTYPE(ctypes.c_int64, ctypes.c_int64, ctypes.c_int32)(start + made.found[ALLOCATE])
    release, end = (
        ctypes.CFUNCTYPE(None, ctypes.c_int64)(start + made.found[name]) for name in (RELEASE, "NRT_MemInfo_call_dtor")
    )
    room = address + 16
    for align in (16, 32, 64):
        owner = give(100, align)
        assert owner == room
        uses, one, two, data, size, more = noted[2:8]
        assert (uses, one, two, size, more) == (1, 0, 0, 100, 0)
        assert data == -(-(room + 48) // align) * align, "the first such place behind the owner"
        assert data + 100 <= room + noted[0], "inside of what was asked for"
        assert noted[0] <= 100 + align + 48
    noted[2] = 2
    release(room)
    assert (noted[2], noted[1]) == (1, 0), "still in use"
    release(room)
    assert noted[1] == room
    noted[1] = 0
    end(room)
    assert noted[1] == room
    assert give(5000, 16) == 0, "there is no more memory"


def test_a_row_is_seen_as_a_table_as_numpy_sees_it():
    from numba.core import types, typing
    from numba.core.registry import cpu_target

    ours = finishing._own_object(cpu_target.target_context, "native", typing.signature(types.none), ())
    made = linking.joined([ours], (RESHAPE,), ())
    assert made is not None
    word, many = ctypes.c_int64, ctypes.POINTER(ctypes.c_int64)
    call = ctypes.CFUNCTYPE(ctypes.c_int32, word, many, many, word, many, many, word, ctypes.c_int32)(
        finished._lay(made.code, made.places, made.calls) + made.found[RESHAPE]
    )

    def asked(array: np.ndarray, lengths: tuple[int, ...], columns: int = 0) -> tuple[int, list[int]]:
        def words(numbers: Any) -> Any:
            return (word * 4)(*numbers)

        out = words([-1] * 4)
        told = call(
            array.ndim, words(array.shape), words(array.strides), len(lengths), words(lengths), out, array.itemsize, columns
        )  # fmt: skip
        return told, list(out)[: len(lengths)]

    for lengths in ((24,), (4, 6), (2, 3, 4), (1, 24)):
        row = np.arange(24.0)
        assert asked(row, lengths) == (1, list(row.reshape(lengths).strides))
        assert asked(row.astype(np.int8), lengths)[1] == list(row.astype(np.int8).reshape(lengths).strides)
    assert asked(np.arange(1.0), ()) == (1, [])
    for refused in ((np.arange(24.0)[::2], (3, 4), 0), (np.zeros((4, 6)), (24,), 0), (np.arange(24.0), (4, 6), 1)):
        assert asked(*refused)[0] == 0


def test_an_error_is_raised_with_its_words():
    """numba's convention: where the pickled error is, how long, and its hash."""
    data = pickle.dumps((ArithmeticError, ("so it ended", 3), None))
    kept, hashed = (
        ctypes.create_string_buffer(data, len(data)),
        ctypes.create_string_buffer(hashlib.sha1(data).digest()),
    )
    told = ctypes.create_string_buffer(
        struct.pack("<QiiQ", ctypes.addressof(kept), len(data), -1, ctypes.addressof(hashed))
    )
    with pytest.raises(ArithmeticError) as raised:
        finished._raise(struct.pack("<Q", ctypes.addressof(told)))
    assert raised.value.args == ("so it ended", 3)


FAILING = f"""
define i32 @native(i8** %r, {ERROR}** %e, i64 %k) {{
  %v = trunc i64 %k to i32
  ret i32 %v
}}
"""


def test_a_function_that_returns_nothing_ends_well_in_two_ways_and_else_raises(monkeypatch):
    """0 and -2 (numba's RETCODE_OK and RETCODE_NONE)."""
    from numba import types

    block = blocked(FAILING, types.none, types.int64)
    failed: list[int] = []
    monkeypatch.setattr(finished, "_raise", lambda memory: failed.append(1))
    assert [block(k) for k in (0, -2)] == [None, None]
    assert failed == []
    block(1)
    assert failed == [1]

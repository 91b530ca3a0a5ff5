"""Machine code that numba made, turned into a block that runs without it (`finished`).

The function's object file is joined with a small one of ours: an entry that takes its arguments from one piece of memory, and
what numba's memory manager is asked for, here from the C library. What is left is one run of bytes and the places in it that
take addresses. What a block could not do (call into Python, write to memory of its own, meet kinds it does not know) it is
not made for: then numba goes on loading the function as before.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from . import finished
from .linking import joined

ENTRY, RELEASE = "beltspring_entry", "beltspring_release"
#: What numba's memory manager keeps of an array's memory: uses, three pointers the last of which is to the memory, its size.
OWNER = "{i64, i8*, i8*, i8*, i64}"
#: And one more pointer of its own.
OWNER_BYTES = 48


def kinds_of(types: Sequence[Any]) -> tuple[str, ...] | None:
    """Kinds, in the words of `finished`, of numba's types; None where one of them is of none."""
    kinds = tuple(map(_kind, types))
    return None if "" in kinds else kinds


def block(reduced: Any, context: Any, kinds: tuple[str, ...]) -> bytes | None:
    """The block, as it is kept, of a compiled result as numba keeps it; None where it can be none. kinds: of its arguments."""
    (_, how, (code, _)), described, _, signature = reduced[:4]
    result = _result(signature.return_type)
    if how != "object" or result == "" or not _memory_as_known():
        return None
    ours = _own_object(context, described.mangled_name, signature, kinds)
    made = joined([code, ours], (ENTRY, RELEASE), finished.CALLED)
    if made is None or not all(_same(name) for name in made.calls):
        return None
    about = {
        "kinds": kinds, "result": result, "entry": made.found[ENTRY], "release": made.found[RELEASE],
        "places": made.places, "calls": made.calls,
    }  # fmt: skip
    return finished.packed(about, made.code)


def _kind(kind: Any) -> str:
    import numba
    from numba import types

    of: Any = numba.from_dtype

    if isinstance(kind, types.Array):
        letter = {of(made): letter for made, letter in finished.LETTERS.items()}
        plain = kind.layout == "C" and kind.mutable and kind.aligned and type(kind) is types.Array and kind.ndim
        return f"{letter[kind.dtype]}{kind.ndim}" if plain and kind.dtype in letter else ""
    return {types.float64: "d", types.int64: "q", types.boolean: "?"}.get(kind, "")


def _result(kind: Any) -> str | list[str] | None:
    """Kind of what is returned, kinds of a tuple; "" for what we cannot return."""
    from numba import types

    if kind == types.none:
        return None
    if isinstance(kind, types.BaseTuple) and type(kind) in (types.Tuple, types.UniTuple):
        several: Any = kind
        kinds = [_kind(one) for one in several.types]
        return kinds if kinds and "" not in kinds else ""
    return _kind(kind)


def _memory_as_known() -> bool:
    """Whether numba's memory manager keeps what we do."""
    from numba.core.runtime import nrtdynmod

    known: Any = nrtdynmod
    return [str(e).replace("ptr", "i8*") for e in known._meminfo_struct_type.elements] == OWNER[1:-1].split(", ")


def _same(name: str) -> bool:
    """Whether the compiler calls the same function of the C library as a block will: by itself, or by way of numba, which hands
    some of them on under names of their own."""
    import llvmlite.binding
    from numba import _helperlib

    find: Any = llvmlite.binding.address_of_symbol
    theirs: Any = _helperlib
    return find(name) in (finished.address_of(name), theirs.c_helpers.get(name))


def _own_object(context: Any, native: str, signature: Any, kinds: tuple[str, ...]) -> bytes:
    """Our part of a block, as an object file."""
    import llvmlite.binding
    from llvmlite import ir

    codegen = context.codegen()
    module = ir.Module()
    module.triple = codegen._tm.triple
    kind = context.call_conv.get_function_type(signature.return_type, signature.args)
    _entry(module, ir.Function(module, kind, name=native), kinds)
    _memory(module)
    _reshaped(module)
    checked: Any = llvmlite.binding.parse_assembly(str(module))
    checked.verify()
    made: bytes = codegen._tm.emit_object(checked)
    return made


def _entry(module: Any, native: Any, kinds: tuple[str, ...]) -> None:
    """The entry: reads the arguments from memory, arrays from their objects, and calls the function."""
    from llvmlite import ir

    word = ir.IntType(64)
    entry = ir.Function(module, ir.FunctionType(ir.IntType(32), [word]), name=ENTRY)
    b = ir.IRBuilder(entry.append_basic_block())

    def read(base: Any, further: int, kind: Any = word) -> Any:
        return b.load(b.inttoptr(b.add(base, word(further)), kind.as_pointer()))

    flat: list[Any] = []
    for i, what in enumerate(kinds):
        at = 8 * (1 + i)
        if len(what) == 1:
            flat.append(read(entry.args[0], at, {"d": ir.DoubleType(), "q": word, "?": ir.IntType(8)}[what]))
            continue
        held, axes = read(entry.args[0], at), int(what[1:])
        shape, strides = (read(held, place) for place in (finished.SHAPE_AT, finished.STRIDES_AT))
        lengths = [read(shape, 8 * k) for k in range(axes)]
        count = lengths[0]
        for length in lengths[1:]:
            count = b.mul(count, length)
        size = word(finished.TYPES[what[0]].itemsize)
        flat += [word(0), word(0), count, size, read(held, finished.DATA_AT), *lengths]
        flat += [read(strides, 8 * k) for k in range(axes)]
    room = b.add(entry.args[0], word(8 * (1 + len(kinds))))
    # What it returns to, and where it says what went wrong: before the arguments.
    given = [room, entry.args[0], *flat]
    arguments = [
        b.inttoptr(value, want) if isinstance(want, ir.PointerType) and value.type == word else value
        for value, want in zip(given, native.function_type.args, strict=True)
    ]
    b.ret(b.call(native, arguments))


def _memory(module: Any) -> None:
    """What machine code asks numba's memory manager for: memory for an array, and to let go of it."""
    from llvmlite import ir

    word, byte, none = ir.IntType(64), ir.IntType(8), ir.VoidType()
    pointer = byte.as_pointer()
    malloc = ir.Function(module, ir.FunctionType(pointer, [word]), name="malloc")
    free = ir.Function(module, ir.FunctionType(none, [pointer]), name="free")
    owner = ir.LiteralStructType([word, pointer, pointer, pointer, word, pointer])

    give = ir.Function(module, ir.FunctionType(pointer, [word, ir.IntType(32)]), name="NRT_MemInfo_alloc_aligned")
    b = ir.IRBuilder(give.append_basic_block())
    size, align = give.args[0], b.zext(give.args[1], word)
    got = b.call(malloc, [b.add(b.add(size, align), word(OWNER_BYTES))])
    with b.if_then(b.icmp_unsigned("==", b.ptrtoint(got, word), word(0)), likely=False):
        b.ret(got)
    first = b.add(b.ptrtoint(got, word), b.add(align, word(OWNER_BYTES - 1)))
    data = b.inttoptr(b.sub(first, b.urem(first, align)), pointer)
    held = b.bitcast(got, owner.as_pointer())
    zero = ir.IntType(32)(0)
    for k, value in enumerate((word(1), pointer(None), pointer(None), data, size, pointer(None))):
        b.store(value, b.gep(held, [zero, ir.IntType(32)(k)]))
    b.ret(got)

    for name in ("NRT_MemInfo_call_dtor", RELEASE):
        gone = ir.Function(module, ir.FunctionType(none, [pointer]), name=name)
        b = ir.IRBuilder(gone.append_basic_block())
        if name == RELEASE:
            uses = b.atomic_rmw("sub", b.bitcast(gone.args[0], word.as_pointer()), word(1), "acq_rel")
            with b.if_then(b.icmp_unsigned("!=", uses, word(1))):
                b.ret_void()
        b.call(free, [gone.args[0]])
        b.ret_void()


def _reshaped(module: Any) -> None:
    """What machine code asks before it looks at one row of numbers as at a table: the strides of the table, 1 where there are.

    Takes axes, lengths and strides there are, axes, lengths and strides to be, bytes of a number, whether columns come first.
    """
    from llvmlite import ir

    word, short = ir.IntType(64), ir.IntType(32)
    many = word.as_pointer()
    kind = ir.FunctionType(short, [word, many, many, word, many, many, word, short])
    table = ir.Function(module, kind, name="numba_attempt_nocopy_reshape")
    axes, _, strides, wanted, lengths, out, size, columns = table.args
    b = ir.IRBuilder(table.append_basic_block())
    other = b.or_(b.icmp_signed("!=", axes, word(1)), b.icmp_signed("!=", columns, short(0)))
    with b.if_then(other):
        b.ret(short(0))
    with b.if_then(b.icmp_signed("!=", b.load(strides), size)):
        b.ret(short(0))
    before = b.block
    each, after = table.append_basic_block(), table.append_basic_block()
    b.cbranch(b.icmp_signed(">", wanted, word(0)), each, after)
    b.position_at_end(each)
    left, step = b.phi(word), b.phi(word)
    k = b.sub(left, word(1))
    b.store(step, b.gep(out, [k]))
    wider = b.mul(step, b.load(b.gep(lengths, [k])))
    for value, first, then in ((left, wanted, k), (step, size, wider)):
        value.add_incoming(first, before)
        value.add_incoming(then, each)
    b.cbranch(b.icmp_signed(">", k, word(0)), each, after)
    b.position_at_end(after)
    b.ret(short(1))

"""Finished machine code: found in the cache, laid into memory and called, without the compiler that made it.

Loading numba takes longer than a whole run of a shipped machine, and all it then does is to find what is compiled already.
So each function's machine code is kept a second time (`finishing` makes it, `caches` keeps and checks it), in a form that
needs nothing but Python to run: a block of code, where in it addresses belong, and what its arguments are. It is named by all
that it depends on, told without the compiler. Where anything differs, numba does as before.

Kinds of arguments and results, one word each: d a float, q a whole number, ? a truth, and of what an array is made with its
axes: d2 is a float64 array of two. Arrays are contiguous, aligned and may be written to.
"""

from __future__ import annotations

import ctypes
import hashlib
import importlib.util
import json
import mmap
import os
import platform
import struct
import sys
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from . import caches

#: What a block may call of the C library: memory, and functions of a real number.
CALLED = {
    "malloc", "free", "memset", "memcpy", "memmove", "sin", "cos", "sincos", "tan", "asin", "acos", "atan", "atan2", "sinh",
    "cosh", "tanh", "exp", "exp2", "expm1", "log", "log2", "log10", "log1p", "pow", "floor", "ceil", "round", "trunc", "rint",
    "fmod", "hypot", "cbrt", "sqrt",
}  # fmt: skip
#: Types of numbers in arrays, by the letter of their kind.
TYPES = {
    "d": np.dtype(np.float64), "q": np.dtype(np.int64), "?": np.dtype(np.bool_), "b": np.dtype(np.int8),
    "B": np.dtype(np.uint8), "i": np.dtype(np.int32),
}  # fmt: skip
LETTERS = {kind: letter for letter, kind in TYPES.items()}
#: Where an array's object holds its first number, its lengths and its strides; what compiled code asks numpy for as well.
DATA_AT, SHAPE_AT, STRIDES_AT = 16, 32, 40
#: A function ended well: with a value, or with none.
WELL = (0, -2)
#: A person's settings for numba, in the working folder: numba reads it when it is loaded, and so it is loaded.
SETTINGS_FILE = ".numba_config.yaml"
#: Not to be used: set where what is compiled must be seen, or is not what the files say (`tests/mutation`).
off = False
_laid: list[mmap.mmap] = []


@lru_cache(maxsize=1)
def _surroundings() -> str | None:
    """Hash of what machine code depends on beside its source; None where blocks cannot be used."""
    here = sys.platform == "linux" and platform.machine() == "x86_64" and sys.implementation.name == "cpython"
    if not here or struct.calcsize("P") != 8 or os.path.exists(SETTINGS_FILE) or not _array_as_known():
        return None
    try:
        settings = sorted(
            (k, v) for k, v in os.environ.items() if k.startswith(("NUMBA_", "LLVM")) and k != "NUMBA_CACHE_DIR"
        )
        own = [path.read_bytes() for path in sorted(Path(__file__).parent.glob("*.py"))]
        all_parts = (own, sys.version, np.__version__, _library("numba"), _library("llvmlite"), _processor(), settings)
        return hashlib.sha256(repr(all_parts).encode()).hexdigest()
    except (OSError, ValueError, StopIteration):
        return None


def _array_as_known() -> bool:
    """Whether arrays lie in memory as blocks expect them to."""
    probe = np.zeros((3, 5))
    words = (ctypes.c_int64 * 8).from_address(id(probe))
    shape, strides = ((ctypes.c_int64 * 2).from_address(words[at // 8]) for at in (SHAPE_AT, STRIDES_AT))
    return (words[DATA_AT // 8], tuple(shape), tuple(strides)) == (probe.ctypes.data, probe.shape, probe.strides)


def _library(name: str) -> list[tuple[str, bytes | int]]:
    """Version of an installed library, and when its files came, without loading it."""
    spec = importlib.util.find_spec(name)
    if spec is None or spec.origin is None:
        raise ValueError(name)
    folder = Path(spec.origin).parent
    files = [folder / "__init__.py", *sorted(folder.glob("binding/*llvmlite*.so"))]
    stamps = [(path.name, path.stat().st_mtime_ns) for path in files] + [(p.name, p.stat().st_size) for p in files]
    return [("version", (folder / "_version.py").read_bytes()), *stamps]


def _processor() -> list[str]:
    """Make, model and features of the first processor."""
    told = []
    with open("/proc/cpuinfo", encoding="ascii", errors="replace") as file:
        for line in file:
            if not line.strip():
                break
            if line.startswith(("vendor_id", "cpu family", "model", "stepping", "flags")):
                told.append(line.strip())
    if not any(line.startswith("flags") for line in told):
        raise ValueError("a processor that tells no features")
    return told


def name_of(stem: str, kinds: Sequence[str], *parts: object) -> str | None:
    """What a block is kept under: changes with its kinds, with `parts` and with all else it depends on. None: not kept."""
    around = None if off else _surroundings()
    if around is None:
        return None
    return f"ready_{stem}_" + hashlib.sha256(repr((tuple(kinds), parts, around)).encode()).hexdigest()[:24]


def kinds_of(arguments: Sequence[object]) -> tuple[str, ...] | None:
    """Kinds of what a function is called with; None where one of them is of no kind of ours."""
    kinds = tuple(map(_kind_of, arguments))
    return None if "" in kinds else kinds


def _kind_of(value: Any) -> str:
    if type(value) is np.ndarray:
        letter = LETTERS.get(value.dtype)
        return f"{letter}{value.ndim}" if letter and value.ndim and value.flags.carray and value.dtype.isnative else ""
    if isinstance(value, bool | np.bool_):
        return "?"
    if isinstance(value, float):  # numpy's float64 too
        return "d"
    whole = (type(value) is int and -(2**63) <= value < 2**63) or type(value) is np.int64
    return "q" if whole else ""


def found(name: str | None) -> Finished | None:
    """The machine code kept under a name, ready to be called; None where there is none that can be."""
    content = None if name is None else caches.kept(name)
    if name is None or content is None:
        return None
    try:
        return Finished(content)
    except (ValueError, KeyError, TypeError, AttributeError, OSError, struct.error):
        caches.forget(name)  # whole, and still not to be understood
        return None


def packed(about: dict[str, Any], code: bytes) -> bytes:
    """A block as it is kept."""
    head = json.dumps(about).encode()
    return struct.pack("<I", len(head)) + head + code


class Finished:
    """A function's machine code, laid into memory; called like the function, with arguments of its kinds.

    Its entry takes one piece of memory: a word for what went wrong, one for each argument (an array's object, or the number),
    then room for what is returned. It is called without the interpreter lock.
    """

    def __init__(self, content: bytes) -> None:
        (size,) = struct.unpack_from("<I", content)
        about = json.loads(content[4 : 4 + size])
        self.kinds: tuple[str, ...] = tuple(about["kinds"])
        self._result: list[str] | str | None = about["result"]
        returned = [self._result] if isinstance(self._result, str) else self._result or []
        words = ("Q" if len(kind) > 1 else "?7x" if kind == "?" else kind for kind in self.kinds)
        self._form = struct.Struct("<q" + "".join(words))
        # A returned array: its owner, none, how many numbers, their size, where they are, lengths, strides.
        self._returns = struct.Struct("@" + "".join(k if len(k) == 1 else f"{5 + 2 * int(k[1:])}q" for k in returned))
        self._size = self._form.size + self._returns.size + 16
        start = _lay(content[4 + size :], about["places"], about["calls"])
        self._entry = ctypes.CFUNCTYPE(ctypes.c_int32, ctypes.c_void_p)(start + about["entry"])
        self._release = ctypes.CFUNCTYPE(None, ctypes.c_void_p)(start + about["release"])
        self._arrays = [TYPES[k[0]] if len(k) > 1 else None for k in self.kinds]
        self._axes = [int(k[1:] or 0) for k in self.kinds]

    def __call__(self, *arguments: Any) -> Any:
        """What the function says. The kinds must be its own, see `takes`."""
        words = [id(a) if kind else a for a, kind in zip(arguments, self._arrays, strict=True)]
        memory = ctypes.create_string_buffer(self._form.pack(0, *words), self._size)
        status = self._entry(memory)
        if status not in WELL:
            _raise(memory)
        if self._result is None:
            return None
        values = iter(self._returns.unpack_from(memory, self._form.size))
        if isinstance(self._result, str):
            return self._value(self._result, values)
        return tuple(self._value(kind, values) for kind in self._result)

    def takes(self, arguments: Sequence[Any]) -> bool:
        """Whether arguments are of the kinds the code was made for."""
        if len(arguments) != len(self.kinds):
            return False
        for a, kind, axes, one in zip(arguments, self._arrays, self._axes, self.kinds, strict=True):
            if kind is None:
                if _kind_of(a) != one:
                    return False
            elif type(a) is not np.ndarray or a.ndim != axes or a.dtype != kind or not a.flags.carray:
                return False
        return True

    def _value(self, kind: str, values: Any) -> Any:
        if len(kind) == 1:
            return next(values)
        axes = int(kind[1:])
        owner, _, _, _, data = (next(values) for _ in range(5))
        shape, strides = tuple(next(values) for _ in range(axes)), tuple(next(values) for _ in range(axes))
        described = {
            "version": 3,
            "typestr": TYPES[kind[0]].str,
            "data": (data, False),
            "shape": shape,
            "strides": strides,
        }
        return np.asarray(_Owned(described, owner, self._release))


class _Owned:
    """Memory that a block gave out, for the array that is made of it; it is let go of with the last array that uses it."""

    def __init__(self, described: dict[str, Any], owner: int, release: Callable[[int], Any]) -> None:
        self.__array_interface__ = described
        self._owner, self._release = owner, release

    def __del__(self, ending: Callable[[], bool] = sys.is_finalizing) -> None:
        # As the process ends the block's own memory may be gone before the array is; then the system takes back all of it.
        if not ending():
            self._release(self._owner)


@lru_cache(maxsize=1)
def _c_library() -> ctypes.CDLL:
    return ctypes.CDLL(None, use_errno=True)


def address_of(name: str) -> int:
    """Where a function of the C library is. Raises AttributeError where it has none of that name, or none a block may call."""
    if name not in CALLED:
        raise AttributeError(name)
    where = ctypes.cast(getattr(_c_library(), name), ctypes.c_void_p).value
    assert where is not None
    return where


def _lay(code: bytes, places: list[list[int]], calls: list[str]) -> int:
    """Put code into memory that can be run, with addresses where they belong; where it starts.

    places: of each address where it stands, what it counts from (0: the block itself, k: the k-th of `calls`), how far on.
    """
    memory = mmap.mmap(-1, len(code), flags=mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS)
    memory.write(code)
    start = ctypes.addressof(ctypes.c_char.from_buffer(memory))
    bases = [start, *map(address_of, calls)]
    for at, base, further in places:
        struct.pack_into("<Q", memory, at, bases[base] + further)
    protect = _c_library().mprotect
    protect.argtypes = [ctypes.c_void_p, ctypes.c_size_t, ctypes.c_int]
    if protect(start, len(code), mmap.PROT_READ | mmap.PROT_EXEC):
        raise OSError(ctypes.get_errno(), "memory that may be run")
    _laid.append(memory)  # never let go of while the process lasts
    return start


def _raise(memory: Any) -> None:
    """Raise what a function ended with: its error, its words, and where."""
    from numba.core import serialize

    (where,) = struct.unpack_from("<Q", memory)
    data, length, _, hashed = struct.unpack("<QiiQ", ctypes.string_at(where, 24))
    read: Any = serialize
    error, words, _ = read._numba_unpickle(data, ctypes.string_at(data, length), ctypes.string_at(hashed, 20))
    raise error(*(words or ()))

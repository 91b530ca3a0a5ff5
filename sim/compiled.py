"""How the loops of this room are compiled, and when it is not worth it."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from numba import config, njit
from numba.extending import register_jitable

from .caches import cache_folder, make_private

F = TypeVar("F", bound=Callable[..., Any])

# Below this many items a loop runs as plain Python: compiling it (or reading it from the cache) would cost more
# than it saves, and a first `run` of a pattern has to wait for neither.
WORTH_COMPILING = 400


def _room_stamp() -> tuple[tuple[str, int, int], ...]:
    """Name, time and size of every source file of this room."""
    files = [entry for entry in os.scandir(Path(__file__).parent) if entry.name.endswith(".py")]
    return tuple(sorted((f.name, f.stat().st_mtime_ns, f.stat().st_size) for f in files))


ROOM_STAMP = _room_stamp()


def _own_folder() -> str:
    """Where numba keeps the loops' machine code: beside our kernels; "" (numba's own choice) where that cannot be."""
    folder = cache_folder()
    try:
        make_private(folder)
    except OSError:
        return ""
    return str(folder / "loops")


def compiled(function: F) -> F:
    """Compile a loop with numba, cached, without the interpreter lock; plain Python with NUMBA_DISABLE_JIT=1."""
    settings: Any = config
    kept_at = settings.CACHE_DIR
    settings.CACHE_DIR = kept_at or _own_folder()
    try:
        jitted: Any = njit(cache=True, nogil=True)(function)
    except RuntimeError:  # nowhere to write a cache: compile anew in each process
        jitted = njit(nogil=True)(function)
    finally:
        settings.CACHE_DIR = kept_at
    # numba takes cached code for fresh while the loop's own file is unchanged. Our loops use formulas of other files
    # of this room, so all of them count.
    index: Any = getattr(getattr(jitted, "_cache", None), "_cache_file", None)
    if index is not None and hasattr(index, "_source_stamp"):
        index._source_stamp = (index._source_stamp, ROOM_STAMP)
    return jitted  # type: ignore[no-any-return]


def formula(function: F) -> F:
    """A small function that compiled loops may call; called from Python it stays plain Python."""
    kept: F = register_jitable(function)
    return kept


def for_size(function: F, items: int) -> F:
    """The same loop, as plain Python where there are few items to walk. Same arithmetic either way."""
    if items >= WORTH_COMPILING:
        return function
    plain: F = getattr(function, "py_func", function)
    return plain

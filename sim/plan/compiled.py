"""How the loops of this room are compiled, and when it is not worth it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from numba import njit
from numba.extending import register_jitable

F = TypeVar("F", bound=Callable[..., Any])

# Below this many items a loop runs as plain Python: compiling it (or reading it from the cache) would cost more
# than it saves, and a first `run` of a pattern has to wait for neither.
WORTH_COMPILING = 400


def compiled(function: F) -> F:
    """Compile a loop with numba, cached, without the interpreter lock; plain Python with NUMBA_DISABLE_JIT=1."""
    jitted: Any = njit(cache=True, nogil=True)(function)
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

"""How loops are compiled, and when it is not worth it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from numba import njit
from numba.extending import register_jitable

from .compiling import keep_between_runs, name_of

F = TypeVar("F", bound=Callable[..., Any])

# Below this many items a loop runs as plain Python: compiling it (or reading it from the cache) would cost more
# than it saves, and a first `run` of a pattern has to wait for neither.
WORTH_COMPILING = 400


@cache
def _room_stamp(source: Path) -> str:
    """Hash of every source file of the room that a file belongs to: a loop may use a formula of any of them."""
    beside = Path(__file__).resolve().parent
    inside = source.is_relative_to(beside) and source.parent != beside
    room = beside / source.relative_to(beside).parts[0] if inside else source.parent
    made = hashlib.sha256()
    for path in sorted(room.rglob("*.py") if inside else room.glob("*.py")):
        made.update(str(path.relative_to(room)).encode() + path.read_bytes())
    return made.hexdigest()


def compiled(function: F) -> F:
    """Compile a loop with numba, kept between runs, without the interpreter lock; plain Python with NUMBA_DISABLE_JIT=1."""
    jitted: Any = njit(nogil=True)(function)
    code = function.__code__

    def name(signature: Any) -> str:
        own = hashlib.sha256(Path(code.co_filename).read_bytes()).hexdigest()
        room = _room_stamp(Path(code.co_filename).resolve())
        return name_of(function.__name__, function.__module__, code.co_firstlineno, own, room, signature)

    keep_between_runs(jitted, name)
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

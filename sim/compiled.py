"""How loops are compiled, and when it is not worth it. numba is loaded when something has to be compiled, and not before.

The first run ever waits for its loops to be compiled, so they are written for that too: arrays to fill are handed in (to make
one takes numba a twentieth of a second), and the smaller of two is chosen by a condition (`min` takes as long).
"""

from __future__ import annotations

import functools
import hashlib
import importlib
import os
import sys
import threading
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from . import beside, caches, finished
from .compiling import keep_between_runs, made_aside, name_of

F = TypeVar("F", bound=Callable[..., Any])

# Below this many items a loop runs as plain Python: compiling it (or reading it from the cache) would cost more
# than it saves, and a first `run` of a pattern has to wait for neither.
WORTH_COMPILING = 400
_making = threading.RLock()
#: Formulas that numba has not been told of.
_untold: list[Callable[..., Any]] = []
#: Loops that nearly every run calls, with the kinds of what it calls them with, by "module:name".
_usual: dict[str, tuple[Loop, tuple[str, ...]]] = {}
#: Cache folders for which that has been looked after.
_looked: list[str] = []
#: The order in which a child process makes them: what is asked for first, what takes long, then what its parent may need and
#: make sooner, from behind.
TURN = ("sample_steps", "feet", "_torque_limits", "_product")


def switched_off() -> bool:
    """Whether loops run as plain Python: NUMBA_DISABLE_JIT=1, or the person's settings for numba say so."""
    if "numba" not in sys.modules and not os.path.exists(finished.SETTINGS_FILE):
        try:
            return bool(int(os.environ.get("NUMBA_DISABLE_JIT") or 0))
        except ValueError:
            pass  # numba knows what to make of it
    from numba import config

    return bool(getattr(config, "DISABLE_JIT", False))


def ready_for_numba() -> None:
    """Load numba, and tell it the formulas that loops may call."""
    with _making:
        from numba.extending import register_jitable

        while _untold:
            register_jitable(_untold.pop())


class Loop:
    """A loop that is compiled when it is first called, unless its machine code is kept: that runs without numba (`finished`).

    make(): numba's own function.  stem, parts: what the machine code is kept under, beside the kinds of its arguments.
    """

    def __init__(self, make: Callable[[], Any], stem: str, parts: Callable[[], tuple[object, ...]]) -> None:
        self._make, self._stem, self._parts = make, stem, parts
        self._made: Any = None
        self._last: finished.Finished | None = None
        self._known: dict[tuple[str, ...], finished.Finished | None] = {}
        self.told, self.ours = "", False

    def __call__(self, *arguments: Any) -> Any:
        """The loop itself."""
        last = self._last
        if last is not None and last.takes(arguments):
            return last(*arguments)
        if self._made is not None:
            return self._made(*arguments)
        kinds = finished.kinds_of(arguments)
        if kinds is not None:
            beside.wait_for(self.told)
        ready = None if kinds is None else self.ready(kinds)
        if ready is not None:
            return ready(*arguments)
        if self.ours:
            make_usual(self)
        return self.dispatcher(*arguments)

    def ready(self, kinds: tuple[str, ...]) -> finished.Finished | None:
        """Machine code for arguments of these kinds that runs without numba; None where there is none."""
        with _making:
            if kinds not in self._known:
                self._known[kinds] = finished.found(self.name(kinds))
            ready = self._known[kinds]
            self._last = ready or self._last
            return ready

    def name(self, kinds: tuple[str, ...]) -> str | None:
        """What that is kept under; None where nothing is."""
        return finished.name_of(self._stem, kinds, *self._parts())

    def is_kept(self, kinds: tuple[str, ...]) -> bool:
        """Whether machine code for arguments of these kinds is kept, and sound."""
        ready = self.name(kinds)
        if ready is not None:
            return caches.kept(ready) is not None
        return caches.kept(name_of(self._stem, *self._parts(), _signature(kinds))) is not None

    def make(self, kinds: tuple[str, ...]) -> None:
        """Machine code for arguments of these kinds now, not at the first call."""
        made_aside(lambda: self.dispatcher.compile(_signature(kinds)))

    @property
    def dispatcher(self) -> Any:
        """numba's own function."""
        with _making:
            if self._made is None:
                ready_for_numba()
                self._made = self._make()
            return self._made

    @property
    def _numba_type_(self) -> Any:
        """What numba asks of a value it meets while it compiles another loop."""
        return self.dispatcher._numba_type_


def _signature(kinds: tuple[str, ...]) -> tuple[Any, ...]:
    """numba's types of arguments of these kinds."""
    import numba
    from numba import types

    of: Any = numba.from_dtype
    numbers = {letter: of(kind) for letter, kind in finished.TYPES.items()}
    return tuple(types.Array(numbers[k[0]], int(k[1:]), "C") if len(k) > 1 else numbers[k] for k in kinds)


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
    if switched_off():
        return function
    code = function.__code__

    @cache
    def parts() -> tuple[object, ...]:
        own = hashlib.sha256(Path(code.co_filename).read_bytes()).hexdigest()
        room = _room_stamp(Path(code.co_filename).resolve())
        return function.__module__, code.co_firstlineno, own, room

    def make() -> Any:
        from numba import njit

        jitted: Any = njit(nogil=True)(function)
        keep_between_runs(jitted, lambda signature: name_of(function.__name__, *parts(), signature), loop.name)
        return jitted

    loop = Loop(make, function.__name__, parts)
    functools.update_wrapper(loop, function)
    loop.ours = function.__module__.startswith(f"{__package__}.")
    loop.py_func = function  # type: ignore[attr-defined]
    return loop  # type: ignore[return-value]


def usual(kinds: str) -> Callable[[F], F]:
    """A compiled loop that nearly every run calls, with arguments of these kinds, in the words of `finished`: the first run
    has it made beside what else it compiles (`make_usual`)."""

    def noted(loop: F) -> F:
        if isinstance(loop, Loop):
            loop.told = f"{loop.__module__}:{loop.__name__}"  # type: ignore[attr-defined]
            _usual[loop.told] = loop, tuple(kinds.split())
        return loop

    return noted


def make_usual(instead: Loop | None = None) -> None:
    """Have the usual loops that are not kept made by a child process, while this one makes something else, such as one of
    them: asked whenever something has to be compiled, looked after once in a process."""
    folder = str(caches.cache_folder())
    if finished.off or folder in _looked:
        return
    _looked.append(folder)
    others = {told: one for told, one in _usual.items() if one[0] is not instead}
    work = {told: functools.partial(loop.is_kept, kinds) for told, (loop, kinds) in others.items()}
    order = sorted(work, key=lambda told: (*TURN, name := told.split(":")[1]).index(name))
    beside.begin({told: work[told] for told in order if not work[told]()})


def make_given() -> None:
    """The child's work: make the usual loops that its arguments name, and leave them in the cache."""
    beside.end_with_parent()
    for told in sys.argv[1:]:
        importlib.import_module(told.split(":")[0])
        loop, kinds = _usual[told]
        if not loop.is_kept(kinds):  # its parent may have needed it sooner
            loop.make(kinds)
        if caches.trouble():
            return


def formula(function: F) -> F:
    """A small function that compiled loops may call; called from Python it stays plain Python."""
    with _making:
        _untold.append(function)
        if "numba.extending" in sys.modules:
            ready_for_numba()
    return function


def for_size(function: F, items: int) -> F:
    """The same loop, as plain Python where there are few items to walk. Same arithmetic either way."""
    if items >= WORTH_COMPILING:
        return function
    plain: F = getattr(function, "py_func", function)
    return plain

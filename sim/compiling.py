"""Machine code that numba makes, kept between runs in files of our own (`caches`).

numba's own cache believes what it finds on the disk, cannot hold code that was printed and not imported, and goes
beside the installed files where it may. Ours has no index and no second file: one checked file a function, named by
all that its machine code depends on.
"""

from __future__ import annotations

import atexit
import contextlib
import functools
import gc
import hashlib
import io
import os
import pickle
import platform
import sys
import threading
import weakref
from collections.abc import Callable, Iterable
from concurrent.futures import CancelledError
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from typing import Any, TypeVar

from . import caches

T = TypeVar("T")

#: How what is kept is written; files of another are passed over.
FORMAT = 2
#: Settings of numba's that change what it makes.
SETTINGS = ("OPT", "LOOP_VECTORIZE", "SLP_VECTORIZE", "BOUNDSCHECK", "DEBUGINFO_DEFAULT", "FULL_TRACEBACKS")


def name_of(stem: str, *parts: object) -> str:
    """A file name that changes with `parts` and with everything machine code depends on beside its source."""
    import numba
    from numba.core import config

    own, target = _surroundings()
    settings = [str(getattr(config, setting, None)) for setting in SETTINGS]
    all_parts = (*parts, FORMAT, own, numba.__version__, sys.version, platform.machine(), target, settings)
    return f"{stem}_" + hashlib.sha256(repr(all_parts).encode()).hexdigest()[:24]


@lru_cache(maxsize=1)
def _surroundings() -> tuple[str, Any]:
    """This package's version; platform, processor and its features. Neither changes while a process runs."""
    from numba.core.registry import cpu_target

    try:
        own = version("beltspring")
    except PackageNotFoundError:
        own = "source"
    return own, cpu_target.target_context.codegen().magic_tuple()


def keep_between_runs(
    dispatcher: Any, name: Callable[[Any], str], ready: Callable[[tuple[str, ...]], str | None] = lambda kinds: None
) -> None:
    """Give a function that numba compiles our cache. name(signature): what its machine code is kept under; ready(kinds):
    what it is kept under in the form that runs without numba, see `finished`, where it is."""
    if hasattr(dispatcher, "_cache"):  # with numba switched off it is a plain function
        dispatcher._cache = _Kept(name, ready)
        _one_thread_at_a_time(dispatcher)


#: Threads for whose machine code nobody waits any more.
_let_go: weakref.WeakSet[threading.Thread] = weakref.WeakSet()
#: Threads that make machine code nobody waits for any more.
_unwanted: weakref.WeakSet[threading.Thread] = weakref.WeakSet()
#: Exit code of a process that ends before they do: it was interrupted.
INTERRUPTED = 130


class _NothingCollected:
    """While it is entered, by however many threads, rings of objects are not looked for: among all that numba makes to
    compile one function a seventh of its time would go into that."""

    def __init__(self) -> None:
        self._lock, self._inside, self._before = threading.Lock(), 0, False

    def __enter__(self) -> None:
        with self._lock:
            self._inside += 1
            if self._inside == 1:
                self._before = gc.isenabled()
                gc.disable()

    def __exit__(self, *how: object) -> None:
        with self._lock:
            self._inside -= 1
            if self._inside == 0 and self._before:
                gc.enable()


_nothing_collected = _NothingCollected()


class _Maker(threading.Thread):
    """Does one piece of work; what came of it is in `answer` or `error` once `done` is let go of.

    A bare lock, and no event: Ctrl-C in the middle of an event's own Python breaks it for the thread that sets it.
    """

    def __init__(self, work: Callable[[], Any]) -> None:
        super().__init__(daemon=True, name="machine code")
        self.work, self.done = work, threading.Lock()
        self.done.acquire()
        self.answer: Any = None
        self.error: BaseException | None = None

    def run(self) -> None:
        try:
            with _nothing_collected:
                self.answer = self.work()
        except BaseException as error:
            self.error = error
        self.done.release()


def made_aside(work: Callable[[], T]) -> T:
    """The answer of work(), done by a thread of its own: the maker of machine code hears no Ctrl-C, for seconds in one call,
    and whoever waits for it does. Raises CancelledError in a thread that was let go (`let_go`), and what work raises."""
    mine = threading.current_thread()
    if isinstance(mine, _Maker):
        return work()
    maker = _Maker(work)
    maker.start()
    try:
        while not maker.done.acquire(timeout=0.05):
            unless_let_go()
    except BaseException:
        _unwanted.add(maker)
        raise
    if maker.error is not None:
        raise maker.error
    answer: T = maker.answer
    return answer


def unless_let_go() -> None:
    """Raises CancelledError in a thread that was let go."""
    if threading.current_thread() in _let_go:
        raise CancelledError


def let_go(threads: Iterable[threading.Thread]) -> None:
    """Let threads that are to end not wait for the machine code they asked for."""
    for thread in threads:
        _let_go.add(thread)


@atexit.register
def _leave() -> None:
    """End an interrupted process that still makes machine code: the libraries it is in cannot be taken down meanwhile."""
    if any(maker.is_alive() for maker in _unwanted):
        for stream in (sys.stdout, sys.stderr):
            with contextlib.suppress(Exception):
                stream.flush()
        os._exit(INTERRUPTED)


def _one_thread_at_a_time(dispatcher: Any) -> None:
    """Let no thread ask what type an argument is while another one compiles.

    The first function compiled fills numba's table of types, which the question walks through: "dictionary changed size
    during iteration" would be the answer, once in many thousand cold starts.
    """
    from numba.core.compiler_lock import global_compiler_lock

    def locked(method: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(method)
        def alone(*args: Any, **kws: Any) -> Any:
            with global_compiler_lock:
                return method(*args, **kws)

        return alone

    # What machine code does not match, or does not know by sight, comes by one of these.
    known, made = locked(dispatcher.typeof_pyval), locked(dispatcher._compile_for_args)
    dispatcher.typeof_pyval = known
    dispatcher._compile_for_args = lambda *args, **kws: made_aside(lambda: made(*args, **kws))


class _Kept:
    """What numba asks of a cache. A file that cannot be understood is thrown away, and numba compiles afresh."""

    cache_path = None

    def __init__(self, name: Callable[[Any], str], ready: Callable[[tuple[str, ...]], str | None]) -> None:
        self._name, self._ready = name, ready

    def load_overload(self, signature: Any, context: Any) -> Any:
        """The compiled result for a signature, or None."""
        from numba.core import compiler, runtime

        name = self._name(signature)
        content = caches.kept(name)
        if content is None:
            return None
        # What numba knows how to compile is not needed to run what is compiled, and takes longer to load than a run.
        memory: Any = runtime
        memory.rtsys.initialize(context)
        try:
            outside, reduced = _Reader(io.BytesIO(content)).load()
            if not _all_there(outside):
                context.refresh()
            if not _all_there(outside):
                return None
            self._finish(reduced, context)
            result: Any = compiler.CompileResult
            return result._rebuild(context, *reduced)
        except Exception:
            # Whole, and still not to be understood by the libraries that are here now.
            caches.forget(name)
            return None

    def save_overload(self, signature: Any, made: Any) -> None:
        """Keep a compiled result."""
        from numba.core import serialize

        write: Any = serialize.dumps

        if any(not lifted.can_cache for lifted in made.lifted) or made.library.has_dynamic_globals:
            return
        reduced = made._reduce()
        caches.keep(self._name(signature), write((_from_outside(made.library), reduced)))
        self._finish(reduced, made.target_context)

    def _finish(self, reduced: Any, context: Any) -> None:
        """Keep it in the other form too, where it has one and that is not there."""
        from . import finishing

        kinds = finishing.kinds_of(reduced[3].args)
        name = None if kinds is None else self._ready(kinds)
        if kinds is None or name is None or caches.kept(name) is not None:
            return
        try:
            block = finishing.block(reduced, context, kinds)
        except Exception:
            return  # other libraries than we know: numba goes on loading it
        if block is not None:
            caches.keep(name, block)

    def enable(self) -> None:
        """Asked for by numba; always on."""

    def disable(self) -> None:
        """Asked for by numba; always on."""

    def flush(self) -> None:
        """Asked for by numba; there is no index to empty."""


class _Reader(pickle.Unpickler):
    """Reads what was kept, without the modules of numba's own functions that were compiled into it: only their names are
    kept with the machine code, and loading them takes longer than all the rest."""

    def find_class(self, module: str, name: str) -> Any:
        found = super().find_class(module, name)
        return _surroundings_of if (module, name) == ("numba.core.environment", "_rebuild_env") else found


def _surroundings_of(module: str, constants: Any, name: str) -> Any:
    """What compiled code holds of the module it came from. numba's own functions ask for nothing of theirs."""
    from numba.core import environment

    kept: Any = environment
    found = kept.lookup_environment(name)
    if found is not None:
        return found
    if module in sys.modules or not module.startswith("numba."):
        return kept._rebuild_env(module, constants, name)
    found = kept.Environment({"__name__": module})
    found.consts[:] = constants
    found.env_name = name
    kept.Environment._memo[name] = found
    return found


def _from_outside(library: Any) -> tuple[str, ...]:
    """Names of what machine code calls that is not in it. A name nobody has ends the process: so they are kept with it."""
    return tuple(f.name for f in library._final_module.functions if f.is_declaration and not f.name.startswith("llvm."))


def _all_there(names: tuple[str, ...]) -> bool:
    import llvmlite.binding

    find: Any = llvmlite.binding.address_of_symbol
    return all(find(name) is not None for name in names)

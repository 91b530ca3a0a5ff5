"""Machine code that numba makes, kept between runs in files of our own (`caches`).

numba's own cache believes what it finds on the disk, cannot hold code that was printed and not imported, and goes
beside the installed files where it may. Ours has no index and no second file: one checked file a function, named by
all that its machine code depends on.
"""

from __future__ import annotations

import hashlib
import pickle
import platform
import sys
from collections.abc import Callable
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from . import caches

#: Settings of numba's that change what it makes.
SETTINGS = ("OPT", "LOOP_VECTORIZE", "SLP_VECTORIZE", "BOUNDSCHECK", "DEBUGINFO_DEFAULT", "FULL_TRACEBACKS")


def name_of(stem: str, *parts: object) -> str:
    """A file name that changes with `parts` and with everything machine code depends on beside its source."""
    import numba
    from numba.core import config

    own, target = _surroundings()
    settings = [str(getattr(config, setting, None)) for setting in SETTINGS]
    all_parts = (*parts, own, numba.__version__, sys.version, platform.machine(), target, settings)
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


def keep_between_runs(dispatcher: Any, name: Callable[[Any], str]) -> None:
    """Give a function that numba compiles our cache. name(signature): what its machine code is kept under."""
    if hasattr(dispatcher, "_cache"):  # with numba switched off it is a plain function
        dispatcher._cache = _Kept(name)


class _Kept:
    """What numba asks of a cache. A file that cannot be understood is thrown away, and numba compiles afresh."""

    cache_path = None

    def __init__(self, name: Callable[[Any], str]) -> None:
        self._name = name

    def load_overload(self, signature: Any, context: Any) -> Any:
        """The compiled result for a signature, or None."""
        from numba.core import compiler

        context.refresh()
        name = self._name(signature)
        content = caches.kept(name)
        if content is None:
            return None
        try:
            result: Any = compiler.CompileResult
            return result._rebuild(context, *pickle.loads(content))
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
        caches.keep(self._name(signature), write(made._reduce()))

    def enable(self) -> None:
        """Asked for by numba; always on."""

    def disable(self) -> None:
        """Asked for by numba; always on."""

    def flush(self) -> None:
        """Asked for by numba; there is no index to empty."""

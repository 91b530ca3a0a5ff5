"""Compiled kernels kept between runs: each printed source is compiled once, its machine code kept in the person's cache.

The name is a hash of the source, the versions of this package, numba and Python, and the processor. Machine code that is kept
is run without loading numba (`finished`). Where the folder
cannot be written the kernel is compiled for this run only, and says so.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..caches import kept, trouble
from ..compiled import Loop, make_usual, switched_off
from ..compiling import keep_between_runs, name_of

Kernel = Callable[..., None]
#: Numbers in a line of the processor's cache.
LINE = 8
#: What every kernel takes, in order: q whole numbers, d reals, and how many axes (none: a plain number).
ARGUMENTS = ("q", *["d1"] * 6, *["d3"] * 3, "d2", "q1", "d2", *["d1"] * 3, "d2")
_loaded: dict[str, Kernel] = {}
_loading = threading.Lock()


def kernel_name(text: str) -> str:
    """Name that changes with everything the machine code depends on."""
    return name_of("loop", text)


def is_cached(text: str) -> bool:
    """Whether the kernel's machine code is already kept, and sound."""
    if text in _loaded:
        return True
    ready = _loop(text).name(ARGUMENTS)
    return (ready is not None and kept(ready) is not None) or kept(kernel_name(text)) is not None


def load_kernel(text: str) -> tuple[Kernel, list[str]]:
    """The compiled `advance` of a printed source, and notes for the person (empty when all went well)."""
    with _loading:  # threads that ask for the same one get the same one, compiled once
        if text not in _loaded:
            _loaded[text] = _loaded_afresh(text)
    said = trouble()
    return _loaded[text], [said] if said else []


def _loaded_afresh(text: str) -> Kernel:
    if switched_off():
        plain: Kernel = _written(text)
        return plain
    loop = _loop(text)
    if loop.ready(ARGUMENTS) is None:
        make_usual()
        loop.make(ARGUMENTS)
    return loop


def _loop(text: str) -> Loop:
    def make() -> Any:
        name = kernel_name(text)
        kernel: Any = _written(text, name)
        keep_between_runs(kernel, lambda signature: name, loop.name)
        return kernel

    loop = Loop(make, "loop", lambda: (text,))
    return loop


def _written(text: str, name: str = "plain") -> Any:
    """`advance` of a source, not compiled yet."""
    # numba looks up the names a function uses in its module, so there has to be one.
    module = ModuleType(f"_beltspring_{name}")
    sys.modules[module.__name__] = module
    exec(compile(text, f"<{name}>", "exec"), module.__dict__)
    return module.advance


def beginning_a_line(numbers: NDArray[np.float64]) -> NDArray[np.float64]:
    """A copy of an array that begins where a line of the processor's cache does: what lies across two is slow to read.

    Each run of a kernel gets its own: behind the parameters of a large model stands what the loop works on.
    """
    more = np.empty(len(numbers) + LINE)
    first = -(more.__array_interface__["data"][0] // more.itemsize) % LINE
    more[first : first + len(numbers)] = numbers
    return more[first : first + len(numbers)]

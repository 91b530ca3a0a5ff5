"""Compiled kernels kept between runs: each printed source is compiled once, its machine code kept in the person's cache.

The name is a hash of the source, the versions of this package, numba and Python, and the processor. Where the folder
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
from ..compiling import keep_between_runs, made_aside, name_of

Kernel = Callable[..., None]
#: What every kernel takes, in order: i whole numbers, f reals, and how many axes (0: a plain number).
ARGUMENTS = "i0 f1 f1 f1 f1 f1 f1 f3 f3 f3 f2 i1 f2 f1 f1 f1 f2"
#: Numbers in a line of the processor's cache.
LINE = 8
_loaded: dict[str, Kernel] = {}
_loading = threading.Lock()


def kernel_name(text: str) -> str:
    """Name that changes with everything the machine code depends on."""
    return name_of("loop", text)


def is_cached(text: str) -> bool:
    """Whether the kernel's machine code is already kept, and sound."""
    name = kernel_name(text)
    return name in _loaded or kept(name) is not None


def load_kernel(text: str) -> tuple[Kernel, list[str]]:
    """The compiled `advance` of a printed source, and notes for the person (empty when all went well)."""
    name = kernel_name(text)
    with _loading:  # threads that ask for the same one get the same one, compiled once
        if name not in _loaded:
            _loaded[name] = _loaded_afresh(name, text)
    said = trouble()
    return _loaded[name], [said] if said else []


def _loaded_afresh(name: str, text: str) -> Kernel:
    # numba looks up the names a function uses in its module, so there has to be one.
    module = ModuleType(f"_beltspring_{name}")
    sys.modules[module.__name__] = module
    exec(compile(text, f"<{name}>", "exec"), module.__dict__)
    kernel: Kernel = module.advance
    keep_between_runs(kernel, lambda signature: name)
    _make(kernel)
    return kernel


def _make(kernel: Kernel) -> None:
    """Machine code now, not at the first call. With numba switched off a kernel is plain Python and needs none."""
    from numba import types

    dispatcher: Any = kernel
    if not hasattr(dispatcher, "compile"):
        return
    signature = []
    for word in ARGUMENTS.split():
        kind, axes = types.int64 if word[0] == "i" else types.float64, int(word[1])
        signature.append(types.Array(kind, axes, "C") if axes else kind)
    made_aside(lambda: dispatcher.compile(tuple(signature)))


def beginning_a_line(numbers: NDArray[np.float64]) -> NDArray[np.float64]:
    """A copy of an array that begins where a line of the processor's cache does: what lies across two is slow to read.

    Each run of a kernel gets its own: behind the parameters of a large model stands what the loop works on.
    """
    more = np.empty(len(numbers) + LINE)
    first = -(more.__array_interface__["data"][0] // more.itemsize) % LINE
    more[first : first + len(numbers)] = numbers
    return more[first : first + len(numbers)]

"""Giving memory back: pictures come and go in many sizes, and the C library keeps the gaps between those still in use."""

from __future__ import annotations

import ctypes
import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

from ..draw.belts import forget_teeth
from ..draw.canvas import forget_scratch
from ..draw.still import forget_stills

#: glibc, malloc.h: how many places its threads may take memory from, and to how many that is set here. Left to itself it
#: gives each worker one of its own, with gaps of its own.
ARENA_MAX, ARENAS = -8, 2
#: From this size on a block has a place of its own, which goes back whole when it is let go of. Left to itself the library
#: raises this with every large block that it sees, up to 32 MB: then pictures and arrays leave gaps between one another. Much
#: lower, what scaling a picture down takes for a moment of each frame came anew each time: 4 ms of a frame of 1920 x 1080.
MMAP_THRESHOLD, OF_ITS_OWN = -3, 1 << 23


@cache
def _library() -> ctypes.CDLL | None:
    """The C library where it is glibc; else None."""
    if not sys.platform.startswith("linux"):
        return None
    try:
        found = ctypes.CDLL(None)
        _ = found.malloc_trim, found.mallopt
    except (OSError, AttributeError):
        return None
    return found


@cache
def keep_together() -> bool:
    """Have threads share the places that memory is taken from, and large blocks places of their own; once in a process.

    False where it cannot be told.
    """
    library = _library()
    if library is None:
        return False
    return bool(library.mallopt(ARENA_MAX, ARENAS) == 1 and library.mallopt(MMAP_THRESHOLD, OF_ITS_OWN) == 1)


#: How often free memory is handed back while the window is used, s.
EVERY_S = 0.5


def trim() -> None:
    """Hand free memory back to the system, from gaps between what is in use too: some tenths of a millisecond."""
    library = _library()
    if library is not None:
        library.malloc_trim(0)


def give_back() -> None:
    """Let go of pictures of another size or screen, and of the memory they took; they cost some milliseconds to make anew."""
    forget_scratch()
    forget_stills()
    forget_teeth()
    trim()


@contextmanager
def settled() -> Iterator[None]:
    """What is loaded by now is not looked through by the collector in the block: each time that took 80 ms, five frames."""
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()

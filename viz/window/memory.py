"""Giving memory back: pictures come and go in many sizes, and the C library keeps the gaps between those still in use."""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Callable
from functools import cache


@cache
def _trim() -> Callable[[int], int] | None:
    """glibc's malloc_trim; None where there is another C library."""
    if not sys.platform.startswith("linux"):
        return None
    try:
        found: Callable[[int], int] = ctypes.CDLL(None).malloc_trim
    except (OSError, AttributeError):
        return None
    return found


def give_back() -> None:
    """Hand free memory back to the system: some milliseconds, so when a screen or a size changes and not each frame."""
    trim = _trim()
    if trim is not None:
        trim(0)

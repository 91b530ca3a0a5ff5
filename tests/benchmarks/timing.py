"""Processor time of a call: on a shared computer the clock on the wall counts other people's work too."""

from __future__ import annotations

import time
from collections.abc import Callable


def seconds(work: Callable[[], object], times: int = 7) -> float:
    """The least processor time of several calls in this thread, s."""
    least = float("inf")
    for _ in range(times):
        began = time.thread_time()
        work()
        least = min(least, time.thread_time() - began)
    return least

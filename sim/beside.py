"""A child process that makes machine code while its parent makes other machine code: a first run waits for the longer of two.

numba holds the interpreter lock for most of its work, so threads would not do. The child leaves what it made in the cache
(`caches`), where the parent finds it. It ends with its parent, however that ends; where it cannot be started, fails or takes
too long, the parent makes everything itself, as it would without.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping

from . import caches
from .compiling import unless_let_go

#: What the child runs. -P keeps the folder it is started in off its import path: a person's own numba.py must not matter.
CHILD = ("-P", "-c", "from beltspring.sim.compiled import make_given; make_given()")
#: Longer than any child needs, s; then nobody waits for it any more.
PATIENCE_S = 30.0
_starting = threading.Lock()
_children: list[subprocess.Popen[bytes]] = []
#: What the child was given, in the order it makes it, and whether that is there.
_given: dict[str, Callable[[], bool]] = {}


def begin(work: Mapping[str, Callable[[], bool]]) -> None:
    """Start a child that makes what these name, in their order (see `compiled.make_given`), and how to ask whether it is there.

    One child at a time, and only where it can help.
    """
    with _starting:
        if not (work and sys.executable and _processors() > 1 and caches.writable()):
            return
        if any(child.poll() is None for child in _children):
            return
        with contextlib.suppress(OSError):
            # It reads from its parent until there is no parent any more.
            child = subprocess.Popen(
                [sys.executable, *CHILD, *work],
                stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            )  # fmt: skip
            # Somebody has to ask for its end, or it stays among the processes for as long as its parent runs.
            threading.Thread(target=child.wait, daemon=True).start()
            _children[:] = [child]
            _given.clear()
            _given.update(work)


def _processors() -> int:
    """How many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def wait_for(name: str) -> None:
    """Wait while the child makes what this names. What it has not begun is not waited for: its parent makes that meanwhile.

    Raises CancelledError in a thread that was let go, see `compiling.let_go`.
    """
    if name not in _given:
        return
    since = time.monotonic()
    while _at_it(name) and any(child.poll() is None for child in _children):
        if caches.trouble() or time.monotonic() - since > PATIENCE_S:
            end()
            break
        unless_let_go()
        time.sleep(0.005)


def _at_it(name: str) -> bool:
    """Whether what this names is the first that is not there."""
    return next((one for one, there in _given.items() if not there()), None) == name


def wait_for_all() -> None:
    """Wait until a child that was started has made all it was given."""
    for child in list(_children):
        with contextlib.suppress(subprocess.TimeoutExpired):
            child.wait(PATIENCE_S)


@atexit.register
def end() -> None:
    """End the child, if there is one: what it has not finished is made by whoever needs it."""
    for child in list(_children):
        with contextlib.suppress(OSError):
            if child.stdin is not None:
                child.stdin.close()
        with contextlib.suppress(subprocess.TimeoutExpired):
            child.wait(1.0)
            continue
        child.kill()
        child.wait()


def end_with_parent() -> None:
    """In the child: hear no Ctrl-C, which is the parent's to answer, and end as soon as the parent does."""
    with contextlib.suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end, daemon=True).start()


def _end() -> None:
    with contextlib.suppress(OSError):
        while os.read(0, 4096):  # not by sys.stdin: as the process ends its lock would be missed
            pass
    with caches.writing:  # nothing half-written is left behind
        os._exit(0)

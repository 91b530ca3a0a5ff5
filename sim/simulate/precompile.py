"""Compiling a step loop in a child process, so that a window goes on drawing: compiling holds the interpreter lock."""

from __future__ import annotations

import subprocess
import sys

from ..beside import wait_for_all
from ..model.system import System
from .generated import source
from .kernel_cache import is_cached, load_kernel
from .lanes import lane_of

#: What the child runs. -P keeps the folder it is started in off its import path: a person's own numba.py must not matter.
CHILD = ("-P", "-c", "from beltspring.sim.simulate.precompile import compile_given; compile_given()")


def ensure_compiled(system: System, lanes: bool = False) -> subprocess.Popen[bytes] | None:
    """A child process that is making the model's machine code, or None when it is there already (or needs none).

    Ask `poll()` of the child; when it has ended, running the model loads in milliseconds. A child that failed leaves no
    machine code, and the run compiles it itself. lanes: the code that takes eight machines of its topology at a time.
    Raises OSError where no process can be started.
    """
    if system.n == 0:
        return None
    text = lane_of(system).text if lanes else source(system)[0]
    if is_cached(text):
        return None
    child = subprocess.Popen(
        [sys.executable, *CHILD], stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    assert child.stdin is not None
    try:
        child.stdin.write(text.encode("utf-8"))
        child.stdin.close()
    except OSError:
        # It ended before it had read all: as for any child that failed, the run compiles for itself.
        child.wait()
    return child


def compile_given() -> None:
    """The child's work: compile the kernel on standard input and leave it in the cache, with the usual loops round it."""
    load_kernel(sys.stdin.buffer.read().decode("utf-8"))
    wait_for_all()

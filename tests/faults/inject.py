"""Faults put into a forked child of this process: killed, or failed by the disk, right before its n-th file operation.

Python tells an audit hook of every file it is about to open, make, move or remove, so no operation can be forgotten. A
hook cannot be taken away again; that is why it only ever goes into a child.
"""

from __future__ import annotations

import contextlib
import ctypes
import io
import os
import signal
import sys
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

#: Events of the interpreter that stand for a file operation; "ctypes.dlsym" is the exchange of two folders.
OPERATIONS = {
    *("open", "os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.chmod", "os.link", "os.symlink", "os.scandir"),
    *("os.listdir", "os.truncate", "os.utime", "ctypes.dlsym"),
}
CHANGING = OPERATIONS - {"os.scandir", "os.listdir"}
WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC

Work = Callable[[], int]
Fault = Callable[[], None]


@dataclass
class Ended:
    """How a child ended. code: its exit code, negative for a signal.  said: both its streams.  operations: seen by then."""

    code: int
    said: str
    operations: int


def kill() -> None:
    """As `kill -9` or a power cut: nothing runs after it."""
    os.kill(os.getpid(), signal.SIGKILL)


def fail(number: int) -> Fault:
    """The system call fails with that error number."""

    def act() -> None:
        raise OSError(number, os.strerror(number))

    return act


def in_child(work: Work, folder: Path, fault: Fault | None = None, at: int = 0, ever_after: bool = False) -> Ended:
    """Run `work` in a forked child; `fault` happens before its `at`-th operation (from 1) on something in `folder`.

    ever_after: at every later changing operation too, as on a disk that is full or has become read-only.
    """
    told, tell = os.pipe()
    told_n, tell_n = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(told)
        code = 99
        try:
            os.dup2(tell, 1)
            os.dup2(tell, 2)
            sys.stdout = io.TextIOWrapper(os.fdopen(1, "wb", 0, closefd=False), "utf-8", write_through=True)
            sys.stderr = io.TextIOWrapper(os.fdopen(2, "wb", 0, closefd=False), "utf-8", write_through=True)
            _watch(folder, fault, at, ever_after, tell_n)
            code = work()
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)
    os.close(tell)
    os.close(tell_n)
    with os.fdopen(told, "rb") as stream:
        said = stream.read().decode("utf-8", "replace")
    with os.fdopen(told_n, "rb") as stream:
        operations = len(stream.read())
    _, status = os.waitpid(child, 0)
    return Ended(os.waitstatus_to_exitcode(status), said, operations)


def _watch(folder: Path, fault: Fault | None, at: int, ever_after: bool, count: int) -> None:
    root = os.fspath(folder)
    seen = 0

    def hook(event: str, values: tuple[Any, ...]) -> None:
        nonlocal seen
        if event not in OPERATIONS:
            return
        if event == "ctypes.dlsym":
            if values[1] not in ("renameat2", "renamex_np"):
                return
        elif not any(isinstance(v, str | bytes | os.PathLike) and os.fsdecode(v).startswith(root) for v in values[:2]):
            return
        seen += 1
        os.write(count, b".")
        if fault is None or seen < at:
            return
        if seen == at or (ever_after and _changes(event, values)):
            fault()

    sys.addaudithook(hook)


def _changes(event: str, values: tuple[Any, ...]) -> bool:
    return bool(values[2] & WRITING) if event == "open" and len(values) > 2 else event in CHANGING


def begun(work: Work) -> int:
    """Begin `work` in a silent child. Returns its process number."""
    child = os.fork()
    if child == 0:
        code = 99
        with contextlib.suppress(BaseException):
            null = os.open(os.devnull, os.O_WRONLY)
            os.dup2(null, 1)
            os.dup2(null, 2)
            code = work()
        os._exit(code)
    return child


def killed_after(work: Work, seconds: float) -> int:
    """Run `work` in a child and kill it after so long. Returns its exit code, -9 if it was killed."""
    child = begun(work)
    time.sleep(seconds)
    with contextlib.suppress(ProcessLookupError):
        os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def one_step() -> bool:
    """Whether this system can exchange two folders in one step."""
    return sys.platform == "linux" and hasattr(ctypes.CDLL(None), "renameat2")

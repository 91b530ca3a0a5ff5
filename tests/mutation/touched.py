"""Which lines of the engine run while something is done, those of compiled loops too."""

from __future__ import annotations

import math
import resource
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from types import CodeType, FrameType, FunctionType
from typing import Any

from .loading import ROOT, SIM, reached

#: A function called, or lines run in one call, more often than this: all of it counts as run, and it is watched no more.
OFTEN_CALLED, OFTEN_RUN = 200, 2000


class Touched:
    """Lines that ran, by file."""

    def __init__(self) -> None:
        self.lines: dict[str, set[int]] = {}
        self.compiling_s = 0.0
        self._files: dict[str, set[int] | None] = {}
        self._calls: dict[int, int] = {}

    @contextmanager
    def watching(self) -> Iterator[None]:
        """Watch this thread and those begun meanwhile."""
        _count_compiled(self)
        threading.settrace(self._called)
        sys.settrace(self._called)
        try:
            yield
        finally:
            sys.settrace(None)
            threading.settrace(None)  # type: ignore[arg-type]
            _count_compiled(None)

    def as_words(self) -> dict[str, str]:
        """By path in the tree, the lines as the bits of a hexadecimal number."""
        return {
            name.removeprefix(f"{ROOT}/"): f"{sum(1 << line for line in sorted(lines)):x}"
            for name, lines in self.lines.items() if lines
        }  # fmt: skip

    def all_of(self, code: CodeType) -> None:
        """Count every line of a function as run."""
        self.lines.setdefault(code.co_filename, set()).update(_lines(code))

    def _called(self, frame: FrameType, event: str, arg: object) -> Any:
        code = frame.f_code
        name = code.co_filename
        if name not in self._files:
            self._files[name] = self.lines.setdefault(name, set()) if name.startswith(SIM) else None
        lines = self._files[name]
        if lines is None:
            return None
        calls = self._calls[id(code)] = self._calls.get(id(code), 0) + 1
        if calls > OFTEN_CALLED:
            if calls == OFTEN_CALLED + 1:
                self.all_of(code)
            return None
        lines.add(frame.f_lineno)
        left = OFTEN_RUN

        def ran(frame: FrameType, event: str, arg: object) -> Any:
            nonlocal left
            lines.add(frame.f_lineno)
            left -= 1
            if left == 0:
                self.all_of(code)
                frame.f_trace_lines = False
            return ran

        return ran


def _lines(code: CodeType) -> set[int]:
    inner = (_lines(x) for x in code.co_consts if isinstance(x, CodeType))
    return {line for _, _, line in code.co_lines() if line}.union(*inner)


def _count_compiled(touched: Touched | None) -> None:
    """Machine code runs no lines that could be watched: calling it counts as running all that was compiled into it.
    While it is made nothing is watched, and that time is not the test's."""
    from numba.core.dispatcher import Dispatcher

    plain: Any = getattr(Dispatcher.__call__, "plain", Dispatcher.__call__)
    plain_compile: Any = getattr(Dispatcher.compile, "plain", Dispatcher.compile)
    if touched is None:
        Dispatcher.__call__, Dispatcher.compile = plain, plain_compile
        return

    def counted(self: Any, *args: Any, **kws: Any) -> Any:
        for code in _compiled_into(self.py_func):
            touched.all_of(code)
        return plain(self, *args, **kws)

    def unwatched(self: Any, signature: Any) -> Any:
        watching, began = sys.gettrace(), time.process_time()
        if watching is None:
            return plain_compile(self, signature)
        sys.settrace(None)
        soft, hard = resource.getrlimit(resource.RLIMIT_CPU)
        resource.setrlimit(resource.RLIMIT_CPU, (hard, hard))
        try:
            return plain_compile(self, signature)
        finally:
            took = time.process_time() - began
            touched.compiling_s += took
            if soft != resource.RLIM_INFINITY:
                resource.setrlimit(resource.RLIMIT_CPU, (soft + math.ceil(took), hard))
            sys.settrace(watching)

    counted.plain, unwatched.plain = plain, plain_compile  # type: ignore[attr-defined]
    Dispatcher.__call__, Dispatcher.compile = counted, unwatched


@cache
def _compiled_into(function: FunctionType) -> tuple[CodeType, ...]:
    found = [value.__code__ for _, value in reached(function) if isinstance(value, FunctionType)]
    return tuple(code for code in found if code.co_filename.startswith(SIM))

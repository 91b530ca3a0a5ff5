"""Ctrl-C during a run: a wish to stop at the next whole stretch, not an exception in the middle of one."""

from __future__ import annotations

import signal
import threading
from types import FrameType, TracebackType
from typing import Any


class Interruptible:
    """While it is entered, the first Ctrl-C sets `stop`; a second one raises KeyboardInterrupt at once.

    Only the main thread is told of Ctrl-C; in any other this does nothing. Where Ctrl-C is ignored it stays so.
    """

    def __init__(self) -> None:
        self.stop = False
        self._before: Any = None
        self._set = False

    def __enter__(self) -> Interruptible:
        main = threading.current_thread() is threading.main_thread()
        if main and signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            self._before = signal.signal(signal.SIGINT, self._wish)
            self._set = True
        return self

    def _wish(self, number: int, frame: FrameType | None) -> None:
        if self.stop:
            raise KeyboardInterrupt
        self.stop = True

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._set:
            signal.signal(signal.SIGINT, self._before)

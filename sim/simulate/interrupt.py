"""Ctrl-C during a run: a wish to stop at the next whole stretch, not an exception in the middle of one."""

from __future__ import annotations

import signal
import threading
from types import FrameType, TracebackType
from typing import Any

#: An answer to Ctrl-C that raises KeyboardInterrupt as Python's own does says so by an attribute of this name.
RAISES = "raises_interrupt"


def raises_interrupt(handler: object) -> bool:
    """Whether a signal's handler raises KeyboardInterrupt: Python's own, or one that says so."""
    return handler is signal.default_int_handler or bool(getattr(handler, RAISES, False))


class Wish(threading.Event):
    """Whether somebody wishes to stop: to be asked, not waited for. Without a lock, so that a signal may set it anywhere."""

    _wished = False

    def is_set(self) -> bool:
        return self._wished

    def set(self) -> None:
        self._wished = True

    def clear(self) -> None:
        self._wished = False


class Interruptible:
    """While it is entered, the first Ctrl-C sets `stop`; a second one raises KeyboardInterrupt at once.

    asked: the same wish for what runs elsewhere, see `feed.run_over`.

    Only the main thread is told of Ctrl-C; in any other this does nothing. Where Ctrl-C is ignored it stays so.
    """

    def __init__(self) -> None:
        self.asked = Wish()
        self._before: Any = None
        self._set = False

    @property
    def stop(self) -> bool:
        """Whether somebody wishes to stop."""
        return self.asked.is_set()

    @stop.setter
    def stop(self, wish: bool) -> None:
        if wish:
            self.asked.set()
        else:
            self.asked.clear()

    def __enter__(self) -> Interruptible:
        main = threading.current_thread() is threading.main_thread()
        if main and raises_interrupt(signal.getsignal(signal.SIGINT)):
            self._before = signal.signal(signal.SIGINT, self._wish)
            self._set = True
        return self

    def _wish(self, number: int, frame: FrameType | None) -> None:
        if self.stop:
            self._before(number, frame)  # who answered before knows where nothing may be raised
        self.stop = True

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._set:
            signal.signal(signal.SIGINT, self._before)

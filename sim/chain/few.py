"""The last few of what was made, kept for those who ask for it again."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

T = TypeVar("T")


class Few(Generic[T]):
    """The last few of what was made, each made once, whichever threads ask for it at the same time.

    most: how many.  weigh: how much one takes; then of more than two no more are kept than weigh `room` together.
    """

    def __init__(self, most: int, weigh: Callable[[T], int] = lambda _: 0, room: int = 0) -> None:
        self.most, self._weigh, self._room = most, weigh, room
        self._kept: dict[Hashable, T] = {}
        self._making: dict[Hashable, threading.Lock] = {}
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        with self._lock:
            making = self._making.setdefault(key, threading.Lock())
        with making:
            found = self._kept.get(key)
            if found is None:
                found = make()
                with self._lock:
                    self._kept[key] = found
                    while self._too_much():
                        self._kept.pop(next(iter(self._kept)))
        return found

    def _too_much(self) -> bool:
        count = len(self._kept)
        return count > self.most or (count > 2 and sum(map(self._weigh, self._kept.values())) > self._room)

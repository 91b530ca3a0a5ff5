"""The last few of what was made, kept for those who ask for it again."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

T = TypeVar("T")


class Few(Generic[T]):
    """The last few of what was made, each made once, whichever threads ask for it at the same time."""

    def __init__(self, most: int) -> None:
        self.most = most
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
                    while len(self._kept) > self.most:
                        self._kept.pop(next(iter(self._kept)))
        return found

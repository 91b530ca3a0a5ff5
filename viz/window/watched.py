"""The file a scenario came from, watched: saved anew it is read anew, once it has stopped changing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

EVERY_S = 0.4  # how often it is looked at: as long it has to stand still before it is read

Stamp = tuple[tuple[int, int], ...]


@dataclass
class Watched:
    """path: of the file.  load: the scenario in it, as it was asked for the first time.  beside: other files it needs."""

    path: Path
    load: Callable[[], Any]
    beside: Callable[[], list[Path]] = list
    _seen: Stamp = field(init=False)
    _known: Stamp = field(init=False)

    def __post_init__(self) -> None:
        self._seen = self._known = self._stamp()

    def _stamp(self) -> Stamp:
        """When each file was written and how long it is; of one that is gone for the moment, nothing."""
        out = []
        for path in (self.path, *self.beside()):
            try:
                told = path.stat()
                out.append((told.st_mtime_ns, told.st_size))
            except OSError:
                out.append((0, -1))
        return tuple(out)

    def changed(self) -> bool:
        """Whether it has been saved since it was last read, and stands still now."""
        now = self._stamp()
        settled, self._seen = now == self._seen, now
        if now == self._known or not settled or now[0] == (0, -1):
            return False
        self._known = now
        return True


def watched(path: Path, load: Callable[[], Any], scenario: Any) -> Watched | None:
    """What to watch of a scenario: its file and the program it names; None where it came from no file of a person's."""
    if not path.is_file():
        return None
    program = scenario.file.move.gcode
    beside = [path.parent / program] if program else []
    return Watched(path, load, lambda: beside)

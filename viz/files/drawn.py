"""Programs of paths drawn by hand: kept in a folder that goes when the program ends."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from pathlib import Path

PREFIX = "beltspring-drawn-"
_FOLDER: list[Path] = []


def drawn_folder() -> Path:
    """Where they are kept. Raises OSError where none can be made."""
    if not _FOLDER:
        _FOLDER.append(Path(tempfile.mkdtemp(prefix=PREFIX)))
        atexit.register(shutil.rmtree, _FOLDER[0], ignore_errors=True)
    return _FOLDER[0]


def is_drawn(program: Path) -> bool:
    """Whether a program is kept there, and so for a while only."""
    return program.parent.name.startswith(PREFIX)

"""A file made under a passing name gets the rights that any new file of this person has."""

from __future__ import annotations

import os
from pathlib import Path


def as_any_new_file(path: str | Path) -> None:
    """Temporary files are for their owner alone; the finished one follows the person's umask."""
    umask = os.umask(0)
    os.umask(umask)
    os.chmod(path, 0o666 & ~umask)

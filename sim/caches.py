"""Where compiled code is kept between runs: a private folder of the person's own, never beside the installed files.

Machine code left beside the package would stay behind when it is uninstalled, and its empty folders would then stand
in front of a new installation.
"""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs


def cache_folder() -> Path:
    """Folder of the kernels: $BELTSPRING_CACHE if set, else the platform's cache folder for this person."""
    named = os.environ.get("BELTSPRING_CACHE")
    return Path(named) if named else Path(platformdirs.user_cache_dir("beltspring", appauthor=False)) / "kernels"


def make_private(folder: Path) -> None:
    """Make the folder if need be. Code is loaded from it, so nobody else may be able to put any there.

    Raises OSError where it cannot be made, or PermissionError where it belongs to or can be written by someone else.
    """
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    if hasattr(os, "getuid"):
        state = folder.stat()
        if state.st_uid != os.getuid() or state.st_mode & 0o022:
            raise PermissionError(0, "it belongs to or can be written by someone else")

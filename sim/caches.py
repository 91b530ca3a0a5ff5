"""Where compiled code is kept between runs: a private folder of the person's own, never beside the installed files.

Machine code left beside the package would stay behind when it is uninstalled, and its empty folders would then stand
in front of a new installation.

Every file carries the SHA-256 of what is in it: a damaged one (a full disk, a machine switched off, a bit that fell
over) is thrown away and made anew, and is never run. What cannot be kept is compiled for this run only; `trouble()`
then says so, and nothing fails.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import stat
import tempfile
import threading
from pathlib import Path

import platformdirs

MAGIC = b"beltspring machine code 1\n"
#: Larger than any file of ours: what is larger is not read.
LARGEST_BYTES = 200_000_000
SUFFIX = ".code"
_troubles: list[str] = []
#: Held while something is written: who ends the process at once waits for it.
writing = threading.Lock()


def cache_folder() -> Path:
    """Folder of compiled code: $BELTSPRING_CACHE if set, else the platform's cache folder for this person."""
    named = os.environ.get("BELTSPRING_CACHE")
    return Path(named) if named else Path(platformdirs.user_cache_dir("beltspring", appauthor=False)) / "kernels"


def make_private(folder: Path) -> None:
    """Make the folder if need be. Code is loaded from it, so nobody else may be able to put any there.

    Raises OSError where it cannot be made, or PermissionError where it belongs to or can be written by someone else.
    """
    if not folder.is_absolute() and not os.environ.get("BELTSPRING_CACHE"):
        # Without a home folder the platform's answer is a name like ~, which would be made in the working folder.
        raise FileNotFoundError(0, "there is no home folder")
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    _refuse_shared(folder)


def _refuse_shared(folder: Path) -> None:
    if hasattr(os, "getuid"):
        state = folder.stat()
        if state.st_uid != os.getuid() or state.st_mode & 0o022:
            raise PermissionError(0, "it belongs to or can be written by someone else")


def kept(name: str) -> bytes | None:
    """What was kept under a name; None where there is nothing sound. Never raises for what it finds there."""
    try:
        folder = cache_folder()
        _refuse_shared(folder)
        return _sound(folder / (name + SUFFIX))
    except (OSError, ValueError):
        return None


def _sound(path: Path) -> bytes | None:
    """The content of a file of ours; None if it is damaged. Raises OSError where it cannot be read."""
    # Whatever else may stand there under that name (a pipe, a link) is not waited for and not followed.
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    with os.fdopen(os.open(path, flags), "rb") as file:
        state = os.fstat(file.fileno())
        if not stat.S_ISREG(state.st_mode) or state.st_size > LARGEST_BYTES:
            return None
        data = file.read(state.st_size)
    start = len(MAGIC) + hashlib.sha256().digest_size
    content = data[start:]
    return content if data[:start] == MAGIC + hashlib.sha256(content).digest() else None


def keep(name: str, content: bytes) -> None:
    """Keep something under a name: written beside its place, then renamed. Where that fails `trouble()` says so."""
    folder = cache_folder()
    try:
        make_private(folder)
        with writing:
            _write(folder, name, content)
    except (OSError, ValueError) as problem:
        reason = (problem.strerror if isinstance(problem, OSError) else None) or str(problem)
        if not _troubles:
            _troubles.append(reason)


def _write(folder: Path, name: str, content: bytes) -> None:
    handle, beside = tempfile.mkstemp(dir=folder, suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(MAGIC + hashlib.sha256(content).digest() + content)
        _put(beside, folder / (name + SUFFIX))
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(beside)
        raise


def _put(beside: str, place: Path) -> None:
    try:
        os.replace(beside, place)
    except OSError:
        # A folder in the way of one of our files is damage like any other.
        if not place.is_dir() or place.is_symlink():
            raise
        shutil.rmtree(place)
        os.replace(beside, place)


def writable() -> bool:
    """Whether something could be kept, as far as can be told without trying."""
    if _troubles:
        return False
    try:
        make_private(cache_folder())
        return os.access(cache_folder(), os.W_OK | os.X_OK)
    except (OSError, ValueError):
        return False


def forget(name: str) -> None:
    """Throw away what is kept under a name."""
    with contextlib.suppress(OSError, ValueError):
        os.unlink(cache_folder() / (name + SUFFIX))


def trouble() -> str | None:
    """A finished sentence if something compiled in this process could not be kept, else None."""
    if not _troubles:
        return None
    return (
        f"the step loop was compiled for this run only: {cache_folder()} cannot be used ({_troubles[0]});"
        " set BELTSPRING_CACHE to a folder of your own, on a disk with room, to keep it"
    )

"""Hidden folders beside a place of results: their names, whose process made them, and how a killed run's are cleared."""

from __future__ import annotations

import contextlib
import hashlib
import os
import platform
import re
import shutil
import signal
import stat
import threading
import time
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import FrameType

#: What a process of another computer, or one that cannot be asked about, left: cleared when it is this old.
OLD_S = 7 * 86400.0
#: Ctrl-C pressed again so soon after it was heard wants the same.
SAME_WISH_S = 1.0


@contextlib.contextmanager
def held(words: str = "") -> Iterator[None]:
    """Ctrl-C waits, and is heard right after. words: said at the first one; a second one is then heard at once.

    A third that follows within a second is the same wish, and must not interrupt the clearing up after the second.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    pressed: list[float] = []

    def wish(number: int, frame: FrameType | None) -> None:
        pressed.append(time.monotonic())
        if words and len(pressed) == 1:
            with contextlib.suppress(OSError):
                os.write(2, f"{words}\n".encode())  # a stream may be in the middle of writing
        elif words and callable(before) and (len(pressed) == 2 or pressed[-1] - pressed[-2] > SAME_WISH_S):
            before(number, frame)

    before = signal.getsignal(signal.SIGINT)
    if before is None or before == signal.SIG_IGN:
        yield
        return
    signal.signal(signal.SIGINT, wish)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if pressed:
        signal.raise_signal(signal.SIGINT)


# Names of hidden folders: .NAME.new-HOST-PID-STARTED-random, so that whoever comes next can tell whether the process
# that made it is still there. STARTED is when the process began, which tells it from a later one of the same number.


def stem(place: Path) -> str:
    """Begin of the hidden folders' names for a place, short enough for any file system."""
    name = place.name
    if len(os.fsencode(name)) > 100:
        name = f"{name[:20]}~{hashlib.sha256(os.fsencode(name)).hexdigest()[:12]}"
    return f".{name}."


@cache
def _host() -> str:
    """This computer, and the space its process numbers belong to."""
    with contextlib.suppress(OSError):
        return hashlib.sha256(f"{platform.node()} {os.stat('/proc/self/ns/pid').st_ino}".encode()).hexdigest()[:8]
    return hashlib.sha256(platform.node().encode()).hexdigest()[:8]


def owner() -> str:
    return f"{_host()}-{os.getpid()}-{_started(os.getpid()) or 0}"


def _started(process: int) -> int | None:
    """When a process began, in ticks since the computer did; None where the system does not say."""
    try:
        return int(Path(f"/proc/{process}/stat").read_text(encoding="latin-1").rpartition(")")[2].split()[19])
    except (OSError, ValueError, IndexError):
        return None


def _is_left_over(host: str, process: int, started: int, path: Path) -> bool:
    """Whether the process that made a hidden folder is gone."""
    age = time.time() - path.stat().st_mtime
    if host != _host():
        return age > OLD_S
    if process == os.getpid():
        return started != (_started(process) or 0)
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return True
    except OSError:
        pass  # it is there, and somebody else's
    now = _started(process)
    return now != started if now is not None and started else age > OLD_S


def clear_leftovers(place: Path) -> None:
    """Put back the old results a killed run had moved aside, and remove what else killed runs left beside a place."""
    pattern = re.compile(re.escape(stem(place)) + r"(new|old)-([0-9a-f]{8})-(\d{1,10})-(\d{1,20})-[^-]*")
    found: list[tuple[str, Path]] = []
    for entry in os.scandir(place.parent):
        named = pattern.fullmatch(entry.name)
        if named is None or not entry.is_dir(follow_symlinks=False):
            continue
        with contextlib.suppress(OSError):
            path = Path(entry.path)
            if hasattr(os, "getuid") and path.stat().st_uid != os.getuid():
                continue
            if _is_left_over(named[2], int(named[3]), int(named[4]), path):
                found.append((named[1], path))
    old = sorted((path for what, path in found if what == "old"), key=lambda path: path.stat().st_mtime)
    with held():
        if old and not os.path.lexists(place) and any(old[-1].iterdir()):
            old[-1].rename(place)
        for _, path in found:
            with contextlib.suppress(OSError):
                remove(path)


def remove(folder: Path) -> None:
    """Remove a folder of ours, also one that its owner has made read-only. What resists stays."""
    if not stat.S_ISDIR(os.lstat(folder).st_mode):
        return
    with contextlib.suppress(OSError):
        for inner in (folder, *(path for path in folder.rglob("*") if path.is_dir() and not path.is_symlink())):
            inner.chmod(0o700)
    shutil.rmtree(folder, ignore_errors=True)

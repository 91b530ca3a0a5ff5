"""A folder of results that appears whole or not at all, and what a killed run left beside it, found again and cleared.

Everything is written into a hidden folder beside the place, forced to the disk, and moved in one step: where the system
can exchange two folders, the old results are there until the new ones are. Where it cannot, two renames do it, and a run
killed between them leaves the old results under a name the next run knows.
"""

from __future__ import annotations

import atexit
import contextlib
import ctypes
import errno
import os
import re
import sys
import tempfile
from pathlib import Path
from types import TracebackType
from typing import Protocol

from beltspring.sim import InputError, name_of, reason_of
from beltspring.viz.files.interrupted import InterruptedWhole
from beltspring.viz.files.leftovers import clear_leftovers, held, owner, remove, stem

#: Files that beltspring writes; --replace removes a folder only if it holds nothing else.
OUR_FILES = (
    *("trace.csv", "summary.json", "picture.png", "scenario.toml", "modes.json", "parts.json", "compare.json"),
    *("ripples.png", "ripples.json"),
    *("check.json", "order.txt", "order.csv", "order.json", "limits.json", "spread.json", "improve.json"),
    *("compare.png",),
    *("keys.json", "physics.md", "prices.toml", "build.svg", "page.html"),
    *("fitted.toml", "report.txt", "fit.json", "curves.json", "measured.toml", "measure.json", "sheet.txt"),
    *("step-x.gcode", "step-y.gcode", "square.gcode"),
    *("film.mp4", "film.gif"),
    *("search.json", "table.csv", "front.png", "report.txt"),
)
#: Folders that beltspring writes, each with the names it writes there.
OUR_FOLDERS = {"winners": re.compile(r"\d{1,6}\.toml")}
#: A disk, or a person's share of it, is full.
FULL = (errno.ENOSPC, errno.EDQUOT)
#: File systems that cannot force to the disk say so with one of these; nothing is lost by that.
CANNOT_SYNC = (errno.EINVAL, errno.ENOTSUP, errno.ENOSYS, errno.EBADF, errno.EACCES)
AT_FDCWD, RENAME_EXCHANGE, RENAME_SWAP = -100, 2, 2


class Folder(Protocol):
    """A folder as who writes into it sees it: `folder / name` is where a file goes."""

    def __truediv__(self, name: str, /) -> Path: ...


class OutFolder:
    """A results folder that appears whole: filled beside its place, then moved there.

    Entering it clears what killed runs left, claims the place before anything is simulated, and raises InputError where
    that is impossible. Leaving it without error moves it there; any error removes what was written.

    `folder / name` is where a file goes. Whoever asks has what is to be written: from the first file on Ctrl-C waits until
    the folder stands in its place, and is heard then. A second Ctrl-C drops it.
    """

    def __init__(self, place: str | Path, replace: bool) -> None:
        self._given = place
        self._replace = replace
        self._made: list[Path] = []
        self._hidden: list[Path] = []
        self._process = os.getpid()
        self._held: contextlib.ExitStack = contextlib.ExitStack()
        self._finishing = self._stands = False

    def __truediv__(self, name: str) -> Path:
        self.finishing()
        return self._work / name

    def growing(self, name: str) -> Path:
        """Where a file goes that is written while what it holds comes into being: Ctrl-C does not wait for that."""
        return self._work / name

    def finishing(self) -> None:
        """What is to be kept is there: from here Ctrl-C waits until it stands in its place. The first file does the same."""
        if not self._finishing:
            self._finishing = True
            self._held.enter_context(held("interrupted; what is finished is being written, once more drops it"))

    def __enter__(self) -> OutFolder:
        try:
            with held():
                self._claim()
            return self
        except (OSError, ValueError) as error:
            self.clear_up()
            raise InputError(
                f"--out {self._name}: cannot be written ({reason_of(error)}); choose another folder"
            ) from None
        except BaseException:
            self.clear_up()
            raise

    def _claim(self) -> None:
        """Clear what killed runs left here, ask whether the place may be taken, and make the hidden folder beside it."""
        self.place = Path(self._given).absolute()
        with contextlib.suppress(OSError):
            clear_leftovers(self.place)
        if self.place.is_symlink() or self.place.exists():
            self._may_replace()
        atexit.register(self.clear_up)
        for parent in reversed(self.place.parents):
            if not parent.exists():
                with contextlib.suppress(FileExistsError):  # another run made it in the meantime
                    parent.mkdir()
                    self._made.append(parent)
        self._work = self._beside("new")
        self._hidden.append(self._work)
        self._work.chmod(0o755)

    @property
    def _name(self) -> str:
        return name_of(self._given)

    def _beside(self, what: str) -> Path:
        """A new hidden folder beside the place, on the same disk, so that renaming is all that is left to do."""
        return Path(tempfile.mkdtemp(prefix=f"{stem(self.place)}{what}-{owner()}-", dir=self.place.parent))

    def _may_replace(self) -> None:
        if self.place.is_symlink():
            raise InputError(
                f"--out {self._name}: this is a link, and results only go into a folder itself; write the folder it "
                f"points to ({name_of(self.place.readlink())}), or choose another"
            )
        if not self.place.is_dir():
            raise InputError(f"--out {self._name}: there is a file of that name; choose another folder")
        if not self._replace:
            raise InputError(f"--out {self._name}: the folder exists; choose another, or add --replace")
        foreign = foreign_in(self.place)
        if foreign:
            raise InputError(
                f"--out {self._name}: --replace would remove {name_of(foreign[0], 60)}, which beltspring did not write; "
                "choose another folder"
            )

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            try:
                if kind is None:
                    self.finishing()
                self._leave(kind, error)
            except BaseException as failed:
                self.clear_up()  # Ctrl-C may have come before leaving had begun
                self._held.__exit__(type(failed), failed, None)
                raise
            self._held.__exit__(kind, error, trace)
        except KeyboardInterrupt:
            if self._stands:
                raise InterruptedWhole(f"what was finished is in {self._name}") from None
            raise

    def _leave(self, kind: type[BaseException] | None, error: BaseException | None) -> None:
        with held():
            try:
                if kind is None:
                    self._put_in_place()
                elif isinstance(error, OSError) and error.errno in FULL:
                    # Writing to an open file tells no name; the place is what the person knows.
                    raise InputError(
                        f"--out {self._name}: cannot be written ({error.strerror}); make room there, or choose a folder "
                        "on another disk"
                    ) from None
            except OSError as failed:
                raise InputError(
                    f"--out {self._name}: cannot be written ({reason_of(failed)}); choose another folder"
                ) from None
            finally:
                self.clear_up()

    def clear_up(self) -> None:
        """Whatever ended it: what was not moved into place goes, the folder we hid it in too. What cannot be removed stays,
        and changes nothing about how the run ended.

        Called once more when the process ends: between two lines of ours Ctrl-C may come where nothing of ours hears it.
        """
        if os.getpid() != self._process:  # a forked child has the list of what is to be called, too
            return
        with held():
            for folder in self._hidden:
                with contextlib.suppress(OSError):
                    remove(folder)
            for parent in reversed(self._made):  # those that hold anything stay
                with contextlib.suppress(OSError):
                    parent.rmdir()
            self._hidden.clear()
            self._made.clear()
            atexit.unregister(self.clear_up)

    def _put_in_place(self) -> None:
        _force_to_disk(self._work)
        for _ in range(20):
            if self.place.is_symlink() or self.place.exists():
                self._may_replace()  # it may have come into being while we simulated
                done = self._exchanged() or self._replaced()
            else:
                done = self._moved()
            if done:
                self._stands = True
                _force(self.place.parent)
                return
        raise OSError(errno.EBUSY, "other runs write there at the same time")

    def _moved(self) -> bool:
        """Move into an empty place; False where something came into it first."""
        try:
            self._work.rename(self.place)
        except OSError as error:
            if error.errno in (errno.EEXIST, errno.ENOTEMPTY, errno.ENOTDIR):
                return False
            raise
        return True

    def _exchanged(self) -> bool:
        """Exchange old and new in one step; False where the system cannot."""
        if not exchange(self._work, self.place):
            return False
        # The old results are in our hidden folder now. Something may have been put beside them at the last moment.
        foreign = foreign_in(self._work)
        if foreign and exchange(self._work, self.place):
            self._may_replace()
        return True

    def _replaced(self) -> bool:
        """The same with two renames; False where another run was quicker."""
        old = self._beside("old")
        try:
            try:
                old.rmdir()  # only its name was wanted
                self.place.rename(old)
            except FileNotFoundError:
                return False
            try:
                done = self._moved()
            except OSError as error:
                self._put_back(old, error)
                raise
            return done
        finally:
            with contextlib.suppress(OSError):
                if self.place.exists():
                    remove(old)

    def _put_back(self, old: Path, why: OSError) -> None:
        try:
            old.rename(self.place)
        except OSError:
            raise InputError(
                f"--out {self._name}: cannot be written ({reason_of(why)}), and what was there could not be put back; it "
                f"lies in {name_of(old)}, and the next run into this place puts it back"
            ) from None


def foreign_in(folder: Path) -> list[str]:
    """Names in a folder of results that beltspring did not write."""
    found = []
    for entry in folder.iterdir():
        ours = OUR_FOLDERS.get(entry.name)
        if ours is not None and entry.is_dir() and not entry.is_symlink():
            found += [f"{entry.name}/{inner.name}" for inner in entry.iterdir() if not ours.fullmatch(inner.name)]
        elif entry.name not in OUR_FILES:
            found.append(entry.name)
    return found


def exchange(a: Path, b: Path) -> bool:
    """Exchange two folders in one step; False, and nothing done, where the system or the disk cannot."""
    system: str = sys.platform
    try:
        if system == "linux":
            rename = ctypes.CDLL(None, use_errno=True).renameat2
            return bool(rename(AT_FDCWD, os.fsencode(a), AT_FDCWD, os.fsencode(b), RENAME_EXCHANGE) == 0)
        if system == "darwin":
            rename = ctypes.CDLL(None, use_errno=True).renamex_np
            return bool(rename(os.fsencode(a), os.fsencode(b), RENAME_SWAP) == 0)
    except (AttributeError, OSError):
        pass  # a C library without it
    return False


def _force_to_disk(folder: Path) -> None:
    """Force a folder and every file in it to the disk. Raises OSError where the disk fails."""
    for path in folder.rglob("*"):
        _force(path)
    _force(folder)


def _force(path: Path) -> None:
    try:
        handle = os.open(path, os.O_RDONLY)
    except OSError as error:
        if error.errno in CANNOT_SYNC:  # folders cannot be opened on every system
            return
        raise
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in CANNOT_SYNC:
            raise
    finally:
        os.close(handle)

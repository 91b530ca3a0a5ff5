"""A results folder that appears whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import shutil
import tempfile
from pathlib import Path
from types import TracebackType

from beltspring.sim.errors import InputError

#: Files that beltspring writes; --replace removes a folder only if it holds nothing else.
OUR_FILES = (
    *("trace.csv", "summary.json", "picture.png", "scenario.toml", "modes.json", "parts.json", "compare.json"),
    *("ripples.png", "ripples.json"),
    *("check.json", "order.txt", "order.csv", "order.json", "limits.json"),
    *("film.mp4", "film.gif"),
)
#: A disk, or a person's share of it, is full.
FULL = (errno.ENOSPC, errno.EDQUOT)


class OutFolder:
    """A results folder that appears whole: filled beside its place, then renamed.

    Entering it claims the place, before anything is simulated, and raises InputError where that is impossible.
    Leaving it without error moves it there; any error removes what was written.
    """

    def __init__(self, place: str | Path, replace: bool) -> None:
        self._given = place
        self._replace = replace
        self._made: list[Path] = []

    def __enter__(self) -> Path:
        try:
            self.place = Path(self._given).absolute()
            if self.place.is_symlink() or self.place.exists():
                self._may_replace()
            for parent in reversed(self.place.parents):
                if not parent.exists():
                    parent.mkdir()
                    self._made.append(parent)
            self._work = self._beside()
            self._work.chmod(0o755)
        except (OSError, ValueError) as error:
            self._forget_parents()
            reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
            raise InputError(f"--out {self._given}: cannot be written ({reason}); choose another folder") from None
        return self._work

    def _beside(self) -> Path:
        """A new hidden folder beside the place, on the same disk, so that renaming is all that is left to do."""
        return Path(tempfile.mkdtemp(prefix=f".{self.place.name[:80]}.", dir=self.place.parent))

    def _may_replace(self) -> None:
        if self.place.is_symlink():
            raise InputError(
                f"--out {self._given}: this is a link, and results only go into a folder itself; write the folder it "
                f"points to ({self.place.readlink()}), or choose another"
            )
        if not self.place.is_dir():
            raise InputError(f"--out {self._given}: there is a file of that name; choose another folder")
        if not self._replace:
            raise InputError(f"--out {self._given}: the folder exists; choose another, or add --replace")
        foreign = [entry.name for entry in self.place.iterdir() if entry.name not in OUR_FILES]
        if foreign:
            raise InputError(
                f"--out {self._given}: --replace would remove {foreign[0]}, which beltspring did not write; "
                "choose another folder"
            )

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if kind is None:
                self._put_in_place()
            elif isinstance(error, OSError) and error.errno in FULL:
                # Writing to an open file tells no name; the place is what the person knows.
                raise InputError(
                    f"--out {self._given}: cannot be written ({error.strerror}); make room there, or choose a folder on "
                    "another disk"
                ) from None
        except OSError as failed:
            raise InputError(
                f"--out {self._given}: cannot be written ({failed.strerror or failed}); choose another folder"
            ) from None
        finally:
            # Whatever ended it: what was not moved into place goes, the folder we hid it in too.
            shutil.rmtree(self._work, ignore_errors=True)
            if not self.place.exists():
                self._forget_parents()

    def _put_in_place(self) -> None:
        if not self.place.exists():
            self._work.rename(self.place)
            return
        self._may_replace()  # it may have come into being while we simulated
        old = self._beside()
        try:
            self.place.rename(old / "old")
        except OSError:
            old.rmdir()
            raise
        try:
            self._work.rename(self.place)
        except OSError:
            (old / "old").rename(self.place)
            old.rmdir()
            raise
        _remove(old)

    def _forget_parents(self) -> None:
        for parent in reversed(self._made):
            with contextlib.suppress(OSError):
                parent.rmdir()
        self._made.clear()


def _remove(folder: Path) -> None:
    """Remove a folder of old results, also one that its owner has made read-only."""
    for inner in (folder, *(path for path in folder.rglob("*") if path.is_dir() and not path.is_symlink())):
        with contextlib.suppress(OSError):
            inner.chmod(0o700)
    shutil.rmtree(folder, ignore_errors=True)

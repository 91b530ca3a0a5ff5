"""One file that a person names, written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from beltspring.sim import InputError, name_of, reason_of

from .rights import as_any_new_file
from .scenario import write_new


def refuse_taken(path: Path, replace: bool, example: str) -> None:
    """Raises InputError where a file cannot go, before any work is done for it. example: a name for a message."""
    if path.is_dir():
        raise InputError(
            f"{name_of(path)}: is a folder; write the name of a file, for example {name_of(path)}/{example}"
        )
    if path.exists() and not replace:
        raise InputError(f"{name_of(path)}: there is a file of that name; choose another, or add --replace")


def put_file(path: Path, words: str, replace: bool, example: str) -> None:
    """Write text in UTF-8. replace: whether a file may be there.  example: a name for a message. Raises InputError."""
    refuse_taken(path, True, example)
    try:
        if not replace:
            write_new(path, words)
            return
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem}-", suffix=".part")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(words)
            as_any_new_file(beside)
            os.replace(beside, path)
        finally:
            Path(beside).unlink(missing_ok=True)
    except FileExistsError:
        raise InputError(f"{name_of(path)}: there is a file of that name; choose another, or add --replace") from None
    except (OSError, ValueError) as error:
        raise InputError(f"{name_of(path)}: cannot be written ({reason_of(error)}); choose another place") from None

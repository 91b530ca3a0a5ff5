"""Every file a person names is read here: scenarios, programs, prices, and whatever comes later.

Ordinary files only (a pipe would be waited for, a device may never end), a limit before anything is read, text that is
UTF-8, TOML that cannot hold the parser up, and words for messages that cannot steer the terminal they are printed on.
"""

from __future__ import annotations

import json
import os
import re
import stat
import tomllib
from pathlib import Path
from typing import Any, BinaryIO

from .errors import InputError

#: Longest line of a TOML file, and most names in one dotted key: the parser takes time with the cube of those.
LONGEST_LINE, MOST_NAMES = 4000, 12
_DOTTED = re.compile(r"""(?<![\w"'.-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){""" + str(MOST_NAMES) + "}")
#: What steers a terminal, or turns the order of letters round.
_EMPTY = re.compile(r"^\s*([\w.\"'-]+)\s*=\s*(#.*)?$")
_COMMA = re.compile(r"=\s*([-+]?\d{1,15},\d{1,15})\s*(?:[},]|$)")
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")


def printable(text: str) -> str:
    """The text with everything that could steer a terminal escaped; line ends and tabs stay."""
    return _CONTROL.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def name_of(path: str | Path, longest: int = 500) -> str:
    """A file's name for a message: as it is when it is plain, else quoted, escaped and cut."""
    name = str(path)
    if name.isprintable() and 0 < len(name) <= longest:
        return name
    out = json.dumps(name)
    return out if len(out) <= 60 else out[:57] + "..."


def reason_of(error: Exception) -> str:
    """Why the system refused, in its own words."""
    return (error.strerror if isinstance(error, OSError) else None) or str(error)


def comma_words(text: str) -> str:
    """What to say of a number with a decimal comma, "16,5"; "" for anything else."""
    found = re.fullmatch(r"\s*([-+]?\d{1,15}),(\d{1,15})\s*", text)
    return f"a number has a decimal point here, not a comma: write {found[1]}.{found[2]}" if found else ""


def opened(path: Path, what: str) -> BinaryIO:
    """An ordinary file, open for reading. what: "a scenario", for messages. Raises InputError."""
    name = name_of(path)
    try:
        # Not waited for: a pipe nobody writes to would never open.
        file = os.fdopen(os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)), "rb")
    except IsADirectoryError:
        raise InputError(f"{name}: is a folder; give the file inside it") from None
    except (OSError, ValueError) as error:
        if path.is_dir():
            raise InputError(f"{name}: is a folder; give the file inside it") from None
        raise InputError(f"{name}: cannot be read ({reason_of(error)}); check the path") from None
    if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
        file.close()
        raise InputError(f"{name}: is not an ordinary file; save {what} as one")
    return file


def read_text(path: Path, what: str, most_bytes: int, hint: str = "") -> str:
    """The text of an ordinary file. what: "a scenario".  hint: what to do where it is too large. Raises InputError."""
    label = name_of(path.name, 60)
    with opened(path, what) as file:
        try:
            # One read more than allowed tells that there is more, whatever size the system claims.
            data = file.read(most_bytes + 1)
        except OSError as error:
            raise InputError(f"{name_of(path)}: cannot be read ({reason_of(error)}); check the path") from None
    if len(data) > most_bytes:
        limit = f"{most_bytes // 1_000_000} MB" if most_bytes >= 1_000_000 else f"{most_bytes // 1000} kB"
        raise InputError(f"{label}: larger than {limit}, which is too much for {what}{hint}")
    if b"\0" in data:
        raise InputError(f"{label}: is not a text file (it holds zero bytes); save {what} as UTF-8 text")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise InputError(f"{label} line {line}: is not UTF-8 text; save {what} as UTF-8") from None


def empty_words(key: str) -> str:
    """What is said of a key without a value, which TOML does not know (toml.io, v1.0.0: "Unspecified values are invalid")."""
    return (
        f"{key} has no value; write one behind the = (a number as {key} = 2.5, words in quotes), "
        "or put # before the line to leave it out"
    )


def parse_toml(text: str, label: str, shape: str = "key = value") -> dict[str, Any]:
    """TOML, refused before it can hold the parser up. label: the file, for messages.  shape: of a line. Raises InputError."""
    for number, line in enumerate(text.split("\n"), start=1):
        if len(line) > LONGEST_LINE and not line.lstrip().startswith("#"):
            raise InputError(
                f"{label} line {number}: is {len(line)} characters long, and {LONGEST_LINE} are the most; "
                "write it on several lines"
            )
        if line.count(".") >= MOST_NAMES and not line.lstrip().startswith("#") and _DOTTED.search(line):
            raise InputError(f"{label} line {number}: more than {MOST_NAMES} names joined by dots, deeper than any key")
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise InputError(f"{label}: brackets are nested too deeply") from None
    except ValueError as error:  # TOMLDecodeError is one; so is an integer of thousands of digits
        message = str(error)
        spot = re.search(r"\(at line (\d+), column (\d+)\)$", message)
        lines = text.rstrip().split("\n")
        number = int(spot[1]) if spot else len(lines)
        if empty := _EMPTY.match(lines[min(number, len(lines)) - 1].rstrip("\r")):
            raise InputError(f"{label} line {number}: {empty_words(empty[1])}") from None
        what = message[: spot.start()].strip() if spot else message.replace("(at end of document)", "at the end")
        at = f" line {spot[1]}, column {spot[2]}" if spot else ""
        if spot and (spelled := _COMMA.search(text.split("\n")[int(spot[1]) - 1].partition("#")[0])):
            raise InputError(f"{label} line {spot[1]}: {comma_words(spelled[1])}") from None
        raise InputError(f"{label}{at}: {printable(what.rstrip('. '))} (the file must be TOML: {shape})") from None

"""The same bits from every command that computes, whatever runs it: by hand.

    python -m tests.determinism [COMMAND ...]      run, compare, improve, search, fit, spread, limits; all when left out

Each command is run as a person runs it, in processes that differ in the order of sets, in the threads of the libraries, in
how many workers share the work, and in whether machine code is found or compiled afresh. What it prints as JSON and every
file it leaves must be the same to the last byte, but for how fast the simulation went (`times_real_time`).
"""

from __future__ import annotations

import argparse
import hashlib
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

QUICK = ["--set", "detail=simple", "--set", "move.pattern=step", "--set", "move.settle_ms=150"]
VARY = ["--vary", "belts.ea_n=9000,15000,21000", "--vary", "motors.part=motor-17-40,motor-17-48"]
MEASURED = "[[ripples]]\naxis = 'x'\nspeed_mm_s = 150\nspacing_mm = 1.55\n"
#: Arguments of each command, in a folder that holds measured.toml.
COMMANDS: dict[str, list[str]] = {
    "run": ["desk-corexy", "--set", "move.size_mm=15"],
    "compare": ["desk-corexy", *QUICK, "--vary", "belts.ea_n=9000,15000", "--spread", "--draws", "16"],
    "improve": ["spring-mass", "--set", "move.settle_ms=100", "--prices", "example"],
    "search": ["desk-corexy", *QUICK, *VARY, "--prices", "example"],
    "fit": ["desk-corexy", "--set", "detail=simple", "--measured", "measured.toml"],
    "spread": ["small-delta", "--set", "move.size_mm=15", "--set", "move.settle_ms=60", "--draws", "16"],
    "limits": ["spring-mass", "--set", "move.settle_ms=100"],
}
ONE = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "NUMBA_NUM_THREADS": "1"}
#: What may not matter: more arguments for some commands, and the environment. The first is what the others are held to.
WAYS: dict[str, tuple[dict[str, list[str]], dict[str, str]]] = {
    "usual": ({}, {"PYTHONHASHSEED": "1"}),
    "again": ({}, {"PYTHONHASHSEED": "1"}),
    "another order of sets": ({}, {"PYTHONHASHSEED": "2024"}),
    "one thread, one worker": ({"search": ["--workers", "1"]}, ONE | {"PYTHONHASHSEED": "0"}),
    "two threads, two workers": ({"search": ["--workers", "2"]}, dict.fromkeys(ONE, "2") | {"PYTHONHASHSEED": "7"}),
    "compiled afresh": ({}, {"BELTSPRING_CACHE": "afresh"}),
}


def leaves(command: str, way: str, folder: Path) -> dict[str, str]:
    """A digest of everything a command prints and leaves when it is run in a way, by name. `folder` is empty or not there."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "measured.toml").write_text(MEASURED)
    more, settings = WAYS[way]
    line = [command, *COMMANDS[command], *more.get(command, []), "--out", "out", "--json"]
    made = subprocess.run(
        [sys.executable, "-m", "beltspring.viz", *line], env=os.environ | settings, cwd=folder, capture_output=True
    )
    assert made.returncode in (0, 1), made.stderr.decode()
    found = {"printed": _digest(made.stdout)}
    for path in sorted((folder / "out").rglob("*")):
        if path.is_file():
            found[str(path.relative_to(folder / "out"))] = _digest(path.read_bytes())
    return found


def _digest(content: bytes) -> str:
    return hashlib.sha256(re.sub(rb'"times_real_time": [0-9.e+]+', b"", content)).hexdigest()


def by_hand() -> None:
    """Each command in each way; says what differs, and ends with 1 where something does."""
    parser = argparse.ArgumentParser(prog="python -m tests.determinism", description=by_hand.__doc__)
    parser.add_argument("command", nargs="*", choices=[[], *COMMANDS], help="all when left out")
    differ = 0
    for command in parser.parse_args().command or list(COMMANDS):
        with tempfile.TemporaryDirectory(prefix="beltspring-bits-") as place:
            told = {way: leaves(command, way, Path(place) / str(number)) for number, way in enumerate(WAYS)}
        before = differ
        for way, found in told.items():
            other = sorted(name for name in told["usual"] | found if told["usual"].get(name) != found.get(name))
            differ += len(other)
            if other:
                print(f"{command}, {way}: {', '.join(other)} differ", flush=True)
        if differ == before:
            print(f"{command}: {len(told['usual'])} digests the same in {len(WAYS)} ways", flush=True)
    raise SystemExit(bool(differ))


if __name__ == "__main__":
    by_hand()

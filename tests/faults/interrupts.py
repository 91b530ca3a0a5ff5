"""Ctrl-C at random moments of short commands, most of them while the program still loads: by hand.

    python -m tests.faults.interrupts --starts 500 --seed 7

Every process must end by itself within ten seconds of processor time, told in one line or whole, and never by a signal.
With --cold N every N-th start finds no machine code kept, so that it is interrupted while it compiles.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

COMMANDS = (
    ("run", "spring-mass"),
    ("check", "spring-mass"),
    ("modes", "spring-mass"),
    ("run", "desk-corexy", "--out", "out"),
)
#: The process says when the program itself loads: what comes before that is not ours to catch.
CODE = """
import sys
from beltspring.viz.cli import main
sys.addaudithook(lambda e, a: e == "import" and a[0] == "beltspring.viz.dispatch" and print(flush=True))
sys.exit(main())
"""


def campaign(starts: int, seed: int, cold: int) -> Counter[str]:
    """How many ended how. Raises AssertionError at the first that ended badly."""
    # Started in the background of a shell it would be ignored, by the children too.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    r, ended = random.Random(seed), Counter[str]()
    with tempfile.TemporaryDirectory(prefix="beltspring-interrupts-") as place_:
        place = Path(place_)
        lasts = {command: _lasts(place, command) for command in COMMANDS}
        for n in range(starts):
            if n % 10 == 9:
                print(f"{n + 1} started: {dict(ended)}", flush=True)
            command, none_kept = r.choice(COMMANDS), bool(cold) and n % cold == 0
            settings = {"BELTSPRING_CACHE": str(place / f"cache-{n}")} if none_kept else {}
            waits = [r.uniform(0, 8 if none_kept else lasts[command])] + [0.01] * r.choice([0, 0, 0, 2])
            code, said = _one(place, command, settings, waits)
            what = f"start {n} of seed {seed}, {' '.join(command)}: ended with {code}\n{said}"
            assert code in (0, 1, 130), what
            assert not any(words in said for words in ("Traceback", "Exception ignored")), what
            assert code != 130 or "interrupted" in said or not said.strip(), what
            left = [path.name for path in place.iterdir() if path.name.startswith(".")]
            assert not left, f"{what}\nleft: {left}"
            ended[
                "whole before it was pressed" if code != 130 else "interrupted, cold" if none_kept else "interrupted"
            ] += 1
    assert starts < 20 or ended["interrupted"] > starts / 4, f"hardly any was interrupted: {dict(ended)}"
    return ended


def _one(place: Path, command: tuple[str, ...], settings: dict[str, str], waits: list[float]) -> tuple[int, str]:
    """Start a command and press Ctrl-C after each wait. Returns its exit code and what it said on standard error."""
    hidden = ("DISPLAY", "WAYLAND_DISPLAY")
    environment = {k: v for k, v in os.environ.items() if k not in hidden} | {"PYTHONFAULTHANDLER": "1"} | settings
    full = [sys.executable, "-c", CODE, *command, *(["--replace"] if "--out" in command else [])]
    running = subprocess.Popen(full, env=environment, cwd=place, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert running.stdout is not None
    running.stdout.readline()
    for wait in waits:
        time.sleep(wait)
        if running.poll() is None:
            running.send_signal(signal.SIGINT)
    _, err = running.communicate(timeout=300)
    return running.returncode, err.decode("utf-8", "replace")


def _lasts(place: Path, command: tuple[str, ...]) -> float:
    """How long a command takes when its machine code is kept, s."""
    _one(place, command, {}, [])
    began = time.monotonic()
    _one(place, command, {}, [])
    return time.monotonic() - began


def by_hand() -> None:
    """As many as asked."""
    parser = argparse.ArgumentParser(description=campaign.__doc__)
    parser.add_argument("--starts", type=int, default=100)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    parser.add_argument("--cold", type=int, default=0, metavar="N", help="every N-th start finds no machine code kept")
    asked = parser.parse_args()
    ended = campaign(asked.starts, asked.seed, asked.cold)
    print(f"seed {asked.seed}: " + ", ".join(f"{n} {what}" for what, n in ended.items()))


if __name__ == "__main__":
    by_hand()

"""Kills and failing disks by the thousand, on whole runs: by hand.

    python -m tests.faults.campaign --kills 1000 --seed 7

Most of the kills come at a random moment or right before a random file operation. Some find a clock that went back, some
hit one of two runs that write the same place, some a process of its own whose kept machine code is damaged and which has no
home. Every tenth fault is a disk that is full, fails or is read-only from a random operation on. After each, whole results
must stand at their place; in the end nothing hidden may lie beside it.
"""

from __future__ import annotations

import argparse
import errno
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from beltspring.viz.files import leftovers

from tests.faults.inject import Work, begun, fail, in_child, kill, killed_after
from tests.faults.results import hidden, run
from tests.faults.test_results import check_told, sound

#: How many of a thousand faults are of each kind.
SHARES = {
    "killed at a moment": 400,
    "killed before an operation": 370,
    "killed with a clock that went back": 50,
    "one of two writers killed": 70,
    "killed with damaged machine code and no home": 10,
    "a failing disk": 100,
}
YEAR_S = 365 * 86400.0


class Campaign:
    """One place of results, and what is done to the runs that write there."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.r, self.place, self.kernels = random.Random(seed), folder / "inner" / "out", folder / "kernels"
        self.place.parent.mkdir()
        assert run(self.place, 10)() == 0
        began = time.perf_counter()
        self.operations = in_child(run(self.place, 11), self.place.parent).operations
        self.lasts = time.perf_counter() - began

    def one(self, kind: str, work: Work) -> str:
        """One fault of a kind. Returns what is counted, empty where the run was done before the fault came."""
        at, moment, beside = self.r.randint(1, self.operations), self.r.uniform(0, 1.1 * self.lasts), self.place.parent
        if kind == "a failing disk":
            number = self.r.choice([errno.ENOSPC, errno.EIO, errno.EROFS])
            check_told(in_child(work, beside, fail(number), at, ever_after=self.r.random() < 0.5))
            return errno.errorcode[number]
        if kind == "killed before an operation":
            killed = in_child(work, beside, kill, at).code
        elif kind == "killed with a clock that went back":
            killed = in_child(_years_ago(work), beside, kill, at).code
        elif kind == "one of two writers killed":
            other = begun(run(self.place, 7))
            killed = killed_after(work, moment)
            assert os.waitstatus_to_exitcode(os.waitpid(other, 0)[1]) in (0, 2)
        elif kind == "killed at a moment":
            killed = killed_after(work, moment)
        else:
            killed = self._damaged(3 * moment)
        return kind if killed == -signal.SIGKILL else ""

    def _damaged(self, after_s: float) -> int:
        """A process without a home whose kept machine code has a byte wrong, or ends too soon."""
        shutil.rmtree(self.kernels, ignore_errors=True)
        shutil.copytree(os.environ["BELTSPRING_CACHE"], self.kernels)
        self.kernels.chmod(0o700)
        for path in self.kernels.iterdir():
            whole = bytearray(path.read_bytes())
            if whole and path.is_file():
                whole[self.r.randrange(len(whole))] ^= 1 << self.r.randrange(8)
                path.write_bytes(whole if self.r.random() < 0.7 else whole[: self.r.randrange(len(whole))])
        settings = os.environ | {"HOME": "/proc/nowhere", "BELTSPRING_CACHE": str(self.kernels)}
        given = ["run", "spring-mass", "--out", str(self.place), "--replace", "--quiet"]
        running = subprocess.Popen(
            [sys.executable, "-m", "beltspring.viz", *given], env=settings, stderr=subprocess.PIPE
        )
        try:
            _, said = running.communicate(timeout=after_s)
        except subprocess.TimeoutExpired:
            running.kill()
            _, said = running.communicate()
        assert b"Traceback" not in said, said.decode()
        assert running.returncode in (0, -signal.SIGKILL), said.decode()
        return running.returncode


def _years_ago(work: Work) -> Work:
    """The same with a clock that says it was years ago; for a child that ends with it."""

    def run_then() -> int:
        now: Callable[[], float] = time.time
        leftovers.time.time = lambda: now() - 3 * YEAR_S
        return work()

    return run_then


def campaign(kills: int, seed: int) -> Counter[str]:
    """How many of each were survived. Raises AssertionError at the first that was not."""
    survived = Counter[str]()
    with tempfile.TemporaryDirectory(prefix="beltspring-kills-") as folder:
        asked = Campaign(Path(folder), seed)
        for n in range(kills):
            (kind,) = asked.r.choices(list(SHARES), list(SHARES.values()))
            survived[asked.one(kind, run(asked.place, 5 + n % 40)) or "done before the fault came"] += 1
            sound(asked.place)
            if n % 100 == 99:
                print(f"{n + 1} done", flush=True)
        assert run(asked.place, 10)() == 0
        assert hidden(asked.place) == []
    return survived


def by_hand() -> None:
    """As many as asked."""
    parser = argparse.ArgumentParser(description=campaign.__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="beltspring-kernels-") as kernels:
        os.environ.setdefault("BELTSPRING_CACHE", kernels)
        survived = campaign(asked.kills, asked.seed)
    print(f"seed {asked.seed}: survived " + ", ".join(f"{n} {what}" for what, n in survived.items()))


if __name__ == "__main__":
    by_hand()

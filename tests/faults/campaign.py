"""Kills and failing disks by the thousand, on whole runs: by hand.

    python -m tests.faults.campaign --kills 1000 --seed 7

Half of the kills come at a random moment, half right before a random file operation; every tenth fault is a disk that
is full, or fails, from a random operation on. After each, whole results must stand at their place.
"""

from __future__ import annotations

import argparse
import errno
import random
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.faults.inject import fail, in_child, kill, killed_after
from tests.faults.results import hidden, run
from tests.faults.test_results import check_told, sound


def campaign(kills: int, seed: int) -> Counter[str]:
    """How many of each were survived. Raises AssertionError at the first that was not."""
    r, survived = random.Random(seed), Counter[str]()
    with tempfile.TemporaryDirectory() as place_:
        place = Path(place_) / "out"
        assert run(place, 10)() == 0
        began = time.perf_counter()
        operations = in_child(run(place, 11), place.parent).operations
        lasts = time.perf_counter() - began
        for n in range(kills):
            work, at = run(place, 5 + n % 40), r.randint(1, operations)
            if n % 10 == 9:
                number = r.choice([errno.ENOSPC, errno.EIO, errno.EROFS])
                check_told(in_child(work, place.parent, fail(number), at, ever_after=r.random() < 0.5))
                survived[errno.errorcode[number]] += 1
            elif n % 2:
                survived["killed before an operation"] += in_child(work, place.parent, kill, at).code == -9
            else:
                survived["killed at a moment"] += killed_after(work, r.uniform(0, 1.1 * lasts)) == -9
            sound(place)
        assert run(place, 10)() == 0
        assert hidden(place) == []
    return survived


def by_hand() -> None:
    """As many as asked."""
    parser = argparse.ArgumentParser(description=campaign.__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    asked = parser.parse_args()
    survived = campaign(asked.kills, asked.seed)
    print(f"seed {asked.seed}: survived " + ", ".join(f"{n} {what}" for what, n in survived.items()))


if __name__ == "__main__":
    by_hand()

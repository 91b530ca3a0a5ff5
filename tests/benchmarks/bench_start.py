"""How long a person waits for `beltspring run`: warm, and the first time ever.

    python -m tests.benchmarks.bench_start           from the repository's folder, beltspring installed

Wall-clock time of whole processes, best of several, and the processor time that process took: on a shared computer the
second is the fairer figure. The first time ever is made with empty cache folders, so that all is compiled.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

COMMAND = Path(sys.executable).parent / "beltspring"


def once(arguments: list[str], environment: dict[str, str]) -> tuple[float, float]:
    """(wall-clock, processor) seconds of one process."""
    before = os.times()
    began = time.perf_counter()
    subprocess.run([str(COMMAND), *arguments], env=environment, check=True, stdout=subprocess.DEVNULL)
    wall, after = time.perf_counter() - began, os.times()
    spent = after.children_user + after.children_system - before.children_user - before.children_system
    return wall, spent


def best(arguments: list[str], environment: dict[str, str], times: int) -> tuple[float, float]:
    """The quickest of several."""
    return min(once(arguments, environment) for _ in range(times))


def show(what: str, found: tuple[float, float], reach: str = "") -> None:
    print(f"{what:<52}{found[0]:>9.2f} s{found[1]:>12.2f} s   {reach}", flush=True)


def main() -> None:
    """Print the table."""
    print(f"{'':<52}{'wall clock':>11}{'processor':>14}")
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}  # as a person has it
    once(["run", "desk-corexy"], environment)
    show("beltspring run desk-corexy, warm", best(["run", "desk-corexy"], environment, 7), "reach 0.55 s")
    show("beltspring modes desk-corexy, warm", best(["modes", "desk-corexy", "--quiet"], environment, 3))
    show("beltspring --help", best(["--help"], environment, 3))
    with tempfile.TemporaryDirectory() as place:
        empty = environment | {"BELTSPRING_CACHE": f"{place}/kernels"}
        found = []
        for _ in range(3):
            shutil.rmtree(Path(place) / "kernels", ignore_errors=True)
            found.append(once(["run", "desk-corexy"], empty))
        show("beltspring run desk-corexy, the first time ever", min(found), "reach 3 s")


if __name__ == "__main__":
    main()

"""The same input gives the same bits: whatever order sets have, however many threads or processes work, whether machine code
is found or compiled afresh. Across machines 1e-12 is promised, and not tested here: there is one machine."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from beltspring.viz.cli import main

from tests.determinism import QUICK

MACHINES = "desk-corexy spring-mass small-delta"
#: Prints a digest of everything that runs and a judged study leave, a line each. Arguments: how many workers, whether they
#: are processes, and which machines run.
SCRIPT = """
import hashlib, sys
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from beltspring.sim.chain.batch import judge
from beltspring.sim.chain.chain import prepare, simulate_prepared
from beltspring.sim.scenario.load import load_scenario

made = []

def put(value):
    made[-1].update(value.tobytes() if hasattr(value, "tobytes") else repr(value).encode())

def main(workers, processes, names):
    small = ["move.size_mm=15", "move.settle_ms=60"]
    for name in names:
        made.append(hashlib.sha256(name.encode()))
        outcome = simulate_prepared(prepare(load_scenario(name, [] if name == "spring-mass" else small)))
        trace = outcome.trace
        for channel in ("t_s", "tool", "commanded", "q", "speeds", "motor_nm", "motor_lag_rad", "tension_n"):
            put(getattr(trace, channel))
        put(outcome.analysis.path.across_m)
        for axis, ringing in outcome.analysis.ringing.items():
            put((axis, None if ringing is None else (ringing.peak_m, ringing.frequency_hz)))
        put([(m.frequency_hz, m.damping_ratio, m.words) for m in outcome.modes])
        put(outcome.mode_bands)
    made.append(hashlib.sha256(b"judged"))
    designs = [prepare(load_scenario("desk-corexy", [*small, f"belts.ea_n={ea}"])) for ea in (9000, 15000, 21000)]
    if processes:
        pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"))
    else:
        pool = ThreadPoolExecutor(workers)
    with pool:
        for lanes in (False, True):
            for trials in judge(designs, [0.8, 1.0, 1.15], pool, lanes=lanes):
                put(trials.peak_m)
                put(trials.move_s)
    for one in made:
        print(one.hexdigest())

if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2] == "processes", sys.argv[3].split())
"""


def digest(
    place: Path, workers: int = 1, kind: str = "threads", machines: str = MACHINES, **environment: str
) -> list[str]:
    script = place / "digest.py"
    script.write_text(SCRIPT)
    settings = dict(os.environ, **environment)
    made = subprocess.run(
        [sys.executable, str(script), str(workers), kind, machines],
        env=settings,
        cwd=place,
        capture_output=True,
        text=True,
    )
    assert made.returncode == 0, made.stderr
    return made.stdout.split()


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """As a person has it, with the hashes of text in one order."""
    return digest(tmp_path_factory.mktemp("usual"), PYTHONHASHSEED="1")


@pytest.mark.parametrize(
    ("workers", "kind", "environment"),
    [
        (1, "threads", {"PYTHONHASHSEED": "2024"}),
        (2, "threads", {"PYTHONHASHSEED": "0"}),
        (1, "threads", {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "NUMBA_NUM_THREADS": "1"}),
        (1, "threads", {"OMP_NUM_THREADS": "2", "OPENBLAS_NUM_THREADS": "2", "NUMBA_NUM_THREADS": "2"}),
        (2, "processes", {"PYTHONHASHSEED": "7"}),
    ],
    ids=[
        "another hash seed",
        "two threads",
        "one thread of the libraries",
        "two threads of the libraries",
        "two processes",
    ],
)
def test_the_same_bits(usual: list[str], tmp_path: Path, workers: int, kind: str, environment: dict[str, str]) -> None:
    assert len(usual) == 4
    assert digest(tmp_path, workers, kind, **environment) == usual


def test_the_same_bits_from_code_compiled_afresh(usual: list[str], tmp_path: Path) -> None:
    # The judged designs are desk machines too: their loop is made here, with that of many side by side.
    few, judged = digest(tmp_path, machines="spring-mass", BELTSPRING_CACHE=str(tmp_path / "cache"))
    assert len(list((tmp_path / "cache").glob("loop_*.code"))) > 1
    assert [few, judged] == [usual[1], usual[3]]


def test_how_many_workers_share_a_search_changes_no_byte_of_it(tmp_path, capsys):
    # One sample of what `python -m tests.determinism` asks of every command that computes.
    told = []
    for workers in ("1", "2"):
        place = tmp_path / workers
        code = main(
            [
                "search",
                "desk-corexy",
                *QUICK,
                "--vary",
                "belts.ea_n=9000,15000",
                "--workers",
                workers,
                "--out",
                str(place),
                "--json",
            ]
        )
        assert code == 0
        files = {path.relative_to(place): path.read_bytes() for path in place.rglob("*") if path.is_file()}
        assert len(files) >= 6
        told.append((capsys.readouterr().out, files))
    assert told[0] == told[1]

"""Motion programs on the command line: results, long jobs, Ctrl-C, and files that make no sense."""

from __future__ import annotations

import json
import re
import signal
import time
from pathlib import Path

import numpy as np
import pytest
from beltspring.viz.terminal import console
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.programs.conftest import rings
from tests.tries import examples

TAG = (Path(__file__).parents[2] / "scenarios" / "key-tag.gcode").read_bytes()
SHORT = b"\n".join(TAG.splitlines()[:40]) + b"\n"


def test_a_program_leaves_its_ripple_map(beltspring, tmp_path):
    said = beltspring("run", "key-tag", "--out", tmp_path / "out", "--json")
    assert said.code == 0
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {"trace.csv", "summary.json", "picture.png", "scenario.toml", "ripples.png", "ripples.json"}
    # The fixed keys of the summary are those of any run.
    pattern = json.loads(beltspring("run", "desk-corexy", "--json").out)
    assert set(json.loads(said.out)) == set(pattern)
    ripples = json.loads((tmp_path / "out" / "ripples.json").read_text())
    assert [place["number"] for place in ripples["places"]] == list(range(1, len(ripples["places"]) + 1))
    lines = TAG.decode().splitlines()
    for place in ripples["places"]:
        assert lines[place["line"] - 1].startswith(("G1", "G2", "G3"))
        assert place["cause"]
    assert len(ripples["levels"]) == 4
    header, *rows = (tmp_path / "out" / "trace.csv").read_text().splitlines()
    assert header.startswith("t_s,asked_x_mm,asked_y_mm,asked_z_mm,commanded_x_mm")
    assert header.endswith(",line_width_mm")
    assert {row.rpartition(",")[2] for row in rows} == {"0", "0.45"}
    again = beltspring("run", tmp_path / "out" / "scenario.toml", "--json")
    assert json.loads(again.out)["path_error_um"] == json.loads(said.out)["path_error_um"]


def test_the_worst_places_are_listed_with_their_lines(beltspring):
    said = beltspring("run", "key-tag")
    table = said.out[said.out.index("Worst") : said.out.index("Ringing  ")]
    assert "line" in table
    assert "Worst" not in beltspring("run", "desk-corexy").out


def test_a_long_job_writes_every_row_on_the_way(beltspring, tmp_path):
    for keep in ("thinned", "all"):
        said = beltspring("run", "key-tag", "--set", f"record.keep={keep}", "--out", tmp_path / keep, "--quiet")
        assert said.code == 0
    a, b = (np.loadtxt(tmp_path / keep / "trace.csv", delimiter=",", skiprows=1) for keep in ("thinned", "all"))
    assert np.array_equal(a, b)
    first, second = (json.loads((tmp_path / keep / "summary.json").read_text()) for keep in ("thinned", "all"))
    # Only from whole rows can it be told.
    assert all(value is None for found in first.pop("moving").values() for value in found.values())
    del second["moving"]
    # A thinned trace is judged by its worst corners, and says so; shaking and corners are part of the reading.
    assert "at its worst corners" in " ".join(first.pop("reading"))
    del second["reading"]
    few, many = first.pop("judged"), second.pop("judged")
    assert few["most_um"] == pytest.approx(many["most_um"], rel=0.05)
    for summary in (first, second):
        del summary["times_real_time"]
    assert first == second


def test_ctrl_c_leaves_a_whole_result_that_says_so(process, tmp_path):
    (tmp_path / "job.gcode").write_text(rings(900, 200))
    running = process(
        "run", "desk-corexy", "--set", "move.gcode=job.gcode", "--set", "record.keep=thinned", "--out", "out"
    )
    deadline = time.monotonic() + 90
    written = 0
    # It is running once rows of several stretches have been written.
    while written < 2_000_000 and time.monotonic() < deadline and running.poll() is None:
        time.sleep(0.05)
        written = sum(path.stat().st_size for path in tmp_path.glob(".out.*/trace.csv"))
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=120)
    assert running.returncode == 130, err.decode()
    assert b"Traceback" not in err
    summary = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert summary["ended"].startswith("interrupted at t = ")
    assert "interrupted" in " ".join(out.decode().split())
    rows = np.loadtxt(tmp_path / "out" / "trace.csv", delimiter=",", skiprows=1)
    assert np.all(np.isfinite(rows))
    assert rows[:, 0] == pytest.approx(np.arange(len(rows)) * 1e-3, abs=1e-6)
    assert rows[-1, 0] < summary["duration_s"] - 1
    assert {p.name for p in (tmp_path / "out").iterdir()} >= {"picture.png", "ripples.png", "ripples.json"}
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]


def on_a_terminal(arguments: list[str], folder: Path) -> tuple[int, str]:
    """Run the command with standard error on a terminal of its own; exit code and what the terminal was sent."""
    import os
    import pty
    import subprocess
    import sys

    ours, theirs = pty.openpty()
    code = "import sys; from beltspring.viz.cli import main; sys.exit(main())"
    running = subprocess.Popen(
        [sys.executable, "-c", code, *arguments], cwd=folder, env={**os.environ, "TERM": "xterm"},
        stdout=subprocess.DEVNULL, stderr=theirs,
    )  # fmt: skip
    os.close(theirs)
    told = b""
    while True:
        try:
            part = os.read(ours, 65536)
        except OSError:  # the other end is closed
            break
        if not part:
            break
        told += part
    os.close(ours)
    return running.wait(timeout=60), told.decode(errors="replace")


def test_progress_with_time_left_only_on_a_terminal_and_never_when_quiet(process, tmp_path):
    (tmp_path / "job.gcode").write_text(rings(600, 30))
    job = ["run", "desk-corexy", "--set", "move.gcode=job.gcode"]
    code, told = on_a_terminal(job, tmp_path)
    assert code == 0
    assert re.search(r"simulated \d+ of \d+ s", told)
    assert re.search(r"\d:\d\d:\d\d", told)  # time left
    assert on_a_terminal([*job, "--quiet"], tmp_path) == (0, "")
    # In a pipe there are notes at most (here: that the program replaces the pattern).
    _, err = process(*job).communicate(timeout=120)
    assert b"simulated" not in err
    assert all(line.startswith(b"note: ") for line in err.splitlines())


class Impatient(console.Watcher):
    """Somebody who presses Ctrl-C after five simulated seconds: a changed feed may make a program last for days."""

    def __call__(self, done_s, whole_s):
        if done_s > 5:
            raise KeyboardInterrupt


TOKENS = st.sampled_from(
    ["G0", "G1", "G2", "G3", "G4", "G17", "G18", "G20", "G28", "G90", "G91", "G92", "M82", "M83", "M30", "X", "Y", "Z", "F",
     "E", "I", "J", "R", "P", "N10", "0", "1", "-5", "12.5", "1e9", ".", "-", "(", ")", ";", "*71", "\n", "\n", " ", "%", "nan"]
)  # fmt: skip
MUTATIONS = st.lists(
    st.tuples(st.integers(0, len(SHORT) - 1), st.integers(0, 12), st.one_of(TOKENS.map(str.encode), st.binary(max_size=4))),
    min_size=1, max_size=6,
)  # fmt: skip


@settings(max_examples=examples(40), suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(changes=MUTATIONS)
def test_a_mutilated_program_is_run_or_refused_in_words(changes, beltspring, tmp_path, monkeypatch):
    text = SHORT
    for at, cut, new in changes:
        text = text[:at] + new + text[at + cut :]
    path = tmp_path / "mutilated.gcode"
    path.write_bytes(text)
    monkeypatch.setattr(console, "Watcher", Impatient)
    said = beltspring("run", "key-tag", "--set", f"move.gcode={path}", "--set", "detail=simple", "--json")
    assert said.code in (0, 2, 3, 130)
    if said.code == 2:
        assert str(path) in said.err
        assert said.out == ""
    else:
        json.loads(said.out)


@settings(max_examples=examples(40), suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tokens=st.lists(TOKENS, max_size=40), joint=st.sampled_from(["", " "]))
def test_any_row_of_words_is_run_or_refused_in_words(tokens, joint, beltspring, tmp_path, monkeypatch):
    path = tmp_path / "words.gcode"
    path.write_text(joint.join(tokens))
    monkeypatch.setattr(console, "Watcher", Impatient)
    said = beltspring("run", "key-tag", "--set", f"move.gcode={path}", "--json")
    assert said.code in (0, 2, 3, 130)
    assert "Traceback" not in said.err


@settings(max_examples=examples(40), suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.binary(max_size=200))
def test_any_bytes_are_run_or_refused_in_words(data, beltspring, tmp_path):
    path = tmp_path / "bytes.gcode"
    path.write_bytes(data)
    said = beltspring("run", "key-tag", "--set", f"move.gcode={path}", "--quiet")
    assert said.code in (0, 2)
    assert "Traceback" not in said.err


def test_auto_shapers_are_tuned_to_the_middle_of_the_move(beltspring):
    """A step along Y, shaped for the one frequency of the textbook machine there, leaves less than a quarter ringing.

    Detent is off: it shakes the tool whatever the command's shape.
    """
    step = (
        "run",
        "desk-corexy",
        "--set",
        "detail=simple",
        "--set",
        "move.pattern=step",
        "--set",
        "motors.detent_nm=0",
        "--set",
        "move.axis=y",
    )
    auto = '--set=motion.shaper={ y = { kind = "zero-vibration", frequency_hz = "auto" } }'
    said = beltspring(*step, auto, "--json")
    plain = beltspring(*step, "--json")
    assert said.code == plain.code == 0
    shaped, bare = (json.loads(one.out)["ringing"]["y"]["peak_um"] for one in (said, plain))
    assert shaped < 0.25 * bare

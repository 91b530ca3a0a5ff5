"""Ctrl-C while a command writes its results: what is finished is kept, whole, and the command ends as interrupted."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
from beltspring.viz.cli import main
from beltspring.viz.commands import COMMANDS
from beltspring.viz.files.folder import OutFolder
from beltspring.viz.files.leftovers import held

from tests.faults.inject import WRITING, in_child
from tests.faults.results import hidden

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="faults are put into a forked child")

MEASURED = '[[ripples]]\naxis = "x"\nspeed_mm_s = 150\nspacing_mm = 1.55\n'
QUICK = ["spring-mass", "--set", "move.settle_ms=100"]
#: For every command the arguments that make it write soon, and what it leaves.
LEAVES: dict[str, tuple[list[str], set[str]]] = {
    "new": (["mine.toml"], {"mine.toml"}),
    "run": (QUICK, {"trace.csv", "summary.json", "picture.png", "scenario.toml"}),
    "watch": (QUICK, {"trace.csv", "summary.json", "picture.png", "scenario.toml"}),
    "compare": ([*QUICK, "--vary", "belts.pretension_n=20,21"], {"compare.json", "compare.png", "picture.png", "scenario.toml"}),
    "improve": (QUICK, {"improve.json", "scenario.toml"}),
    "search": (
        [*QUICK, "--vary", "belts.pretension_n=20,21"],
        {"search.json", "table.csv", "front.png", "report.txt", "winners", "scenario.toml"},
    ),
    "spread": ([*QUICK, "--draws", "16"], {"spread.json", "scenario.toml"}),
    "modes": (QUICK, {"modes.json", "scenario.toml"}),
    "check": (QUICK, {"check.json", "scenario.toml"}),
    "limits": ([*QUICK, "--move", "x"], {"limits.json", "picture.png", "scenario.toml"}),
    "measure": (QUICK, {"measure.json", "sheet.txt", "measured.toml", "step-x.gcode", "step-y.gcode", "square.gcode"}),
    "fit": ([*QUICK, "--measured", "measured.toml"], {"report.txt", "picture.png", "fit.json", "curves.json"}),
    "order": (QUICK, {"order.txt", "order.csv", "order.json", "build.svg", "scenario.toml"}),
    "page": (QUICK, {"page.html", "scenario.toml"}),
    "show": (QUICK, {"scenario.toml"}),
    "keys": ([], {"keys.json"}),
    "parts": ([], {"parts.json"}),
    "physics": ([], {"physics.md"}),
}  # fmt: skip


@pytest.fixture(scope="module", autouse=True)
def loaded(tmp_path_factory: pytest.TempPathFactory) -> None:
    """What the commands need is loaded once, and not in each child."""
    for name in ("compare", "fit"):
        place = tmp_path_factory.mktemp(name)
        (place / "measured.toml").write_text(MEASURED)
        given = [str(place / word) if word == "measured.toml" else word for word in LEAVES[name][0]]
        assert main([name, *given, "--out", str(place / "out"), "--quiet"]) in (0, 1)


def test_every_command_that_leaves_results_is_pressed():
    # A film is drawn into its file; there is nothing finished before its last picture.
    assert {*LEAVES, "film"} == {command.name for command in COMMANDS}


@pytest.mark.parametrize("name", LEAVES)
def test_ctrl_c_at_the_first_file_keeps_the_whole_folder(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("measured.toml").write_text(MEASURED)
    monkeypatch.setattr("beltspring.viz.window.screen_there.has_screen", lambda: True)
    given, leaves = LEAVES[name]
    place = tmp_path / "out"

    def work() -> int:
        press_at_the_first_file(place)
        return main([name, *given, "--out", str(place), "--quiet"])

    ended = in_child(work, tmp_path)
    assert ended.code == 130, ended.said
    assert ended.said.splitlines() == [
        "interrupted; what is finished is being written, once more drops it",
        f"what was finished is in {place}",
    ]
    assert {path.name for path in place.iterdir()} == leaves
    assert hidden(place) == []


def press_at_the_first_file(place: Path) -> None:
    """Ctrl-C comes when the first file of the results is opened."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    pressed = []

    def hook(event: str, values: tuple[Any, ...]) -> None:
        if pressed or event != "open" or not values[2] & WRITING:
            return
        if str(values[0]).startswith(f"{place.parent}/.out.new-"):
            pressed.append(values[0])
            os.kill(os.getpid(), signal.SIGINT)

    sys.addaudithook(hook)


def test_a_second_ctrl_c_drops_what_is_being_written(tmp_path):
    place = tmp_path / "out"

    def work() -> int:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        try:
            with OutFolder(place, replace=False) as folder:
                (folder / "trace.csv").write_text("half")
                signal.raise_signal(signal.SIGINT)
                (folder / "summary.json").write_text("half")
                signal.raise_signal(signal.SIGINT)
                (folder / "picture.png").write_text("never")
        except KeyboardInterrupt as pressed:
            return 130 if not str(pressed) else 1
        return 0

    assert in_child(work, tmp_path).code == 130
    assert list(tmp_path.iterdir()) == []


def test_ctrl_c_does_not_hide_that_the_disk_is_full(tmp_path):
    place = tmp_path / "out"

    def work() -> int:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        with OutFolder(place, replace=False) as folder:
            (folder / "trace.csv").write_text("half")
            signal.raise_signal(signal.SIGINT)
            raise OSError(28, os.strerror(28))

    said = in_child(work, tmp_path).said
    assert "No space left" in said
    assert list(tmp_path.iterdir()) == []


OURS = tuple(
    sys.modules[module].__file__ for module in ("beltspring.viz.files.folder", "beltspring.viz.files.leftovers")
)


def pressed_at_line(place: Path, at: int, ever_after: bool) -> bool:
    """Write results while Ctrl-C comes at the `at`-th line of what makes and moves the folder; whether there is such a line."""
    seen = 0

    def trace(frame: FrameType, event: str, value: object) -> Any:
        nonlocal seen
        if frame.f_code.co_filename not in OURS:
            return None
        if event == "line":
            seen += 1
            if seen == at or (ever_after and seen > at):
                signal.raise_signal(signal.SIGINT)
        return trace

    out = OutFolder(place, replace=True)
    with contextlib.suppress(KeyboardInterrupt):
        sys.settrace(trace)
        try:
            with out as folder:
                (folder / "trace.csv").write_text("new")
                (folder / "summary.json").write_text("new")
        finally:
            sys.settrace(None)
    out.clear_up()  # as when the process ends
    return seen >= at


@pytest.mark.parametrize("ever_after", [False, True])
@pytest.mark.parametrize("there", [False, True])
def test_ctrl_c_at_any_line_leaves_a_whole_folder_and_nothing_beside_it(tmp_path, there, ever_after):
    place = tmp_path / "in" / "out"

    def work() -> int:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        os.fsync = lambda handle: None  # whether it comes to the disk is not asked here, and takes most of the time
        at, more, wrong = 0, True, 0
        while more:
            at += 1
            shutil.rmtree(place.parent, ignore_errors=True)
            if there:
                place.mkdir(parents=True)
                (place / "trace.csv").write_text("old")
            more = pressed_at_line(place, at, ever_after)
            whole = {"trace.csv": "new", "summary.json": "new"}
            before = {"trace.csv": "old"} if there else None
            left = {path.name: path.read_text() for path in place.iterdir()} if place.exists() else None
            beside = hidden(place) if place.parent.exists() else []
            if left not in (whole, before) or beside or (left is None and place.parent.exists()):
                print(f"line {at}: {left}, beside it {beside}, {place.parent.exists()}")
                wrong += 1
        print(f"{at} lines")
        return 1 if wrong or at < 80 else 0

    ended = in_child(work, tmp_path)
    assert ended.code == 0, ended.said


def test_a_third_ctrl_c_does_not_stop_the_clearing_up():
    def work() -> int:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        cleared = []
        try:
            with held("once more drops it"):
                signal.raise_signal(signal.SIGINT)
                try:
                    signal.raise_signal(signal.SIGINT)
                finally:
                    signal.raise_signal(signal.SIGINT)
                    cleared.append("all")
        except KeyboardInterrupt:
            return 0 if cleared else 1
        return 2

    assert in_child(work, Path("unused")).code == 0


def test_what_nobody_left_goes_when_the_process_ends(tmp_path):
    claim = f"from beltspring.viz.files.folder import OutFolder; OutFolder({str(tmp_path / 'a' / 'out')!r}, False).__enter__()"
    assert subprocess.run([sys.executable, "-c", claim], check=False).returncode == 0
    assert list(tmp_path.iterdir()) == []

"""Ctrl-C while a command writes its results: what is finished is kept, whole, and the command ends as interrupted."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path
from typing import Any

import pytest
from beltspring.viz.cli import main
from beltspring.viz.commands import COMMANDS
from beltspring.viz.files.folder import OutFolder

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

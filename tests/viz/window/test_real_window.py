"""One real window on a real (virtual) screen, worked with a real mouse and keyboard: Xvfb and xdotool.

Debian packages xvfb and xdotool. Where they are missing this test fails and says so; it is not skipped.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

# A child process with a window; it tells what happens, line by line, and slows runs down so that one can be interrupted.
CHILD = """
import os, sys, threading, time
import pygame
from beltspring.sim.scenario.load import load_scenario
from beltspring.viz.window.screen_there import has_screen
from beltspring.viz.window import run as window
from beltspring.viz.window.app import App
from beltspring.viz.window.runs import run_changed

assert has_screen(), "no screen found"

def say(*words):
    # In one piece: two threads speak here, and print sends a line and its end apart.
    os.write(1, ("|".join(map(str, words)) + "\\n").encode())

def slow(scenario, changes):
    say("running")
    time.sleep(float(changes.get("move.settle_ms", 0)) / 1000 or 0.05)
    return run_changed(scenario, changes)

step = App.step
def told(self, dt, events, target=None):
    drew = step(self, dt, events, target)
    now = (self.screen.name, self.size, self.clock.playing, tuple(sorted(self.session.changes)), self.stage.theme_name,
           self.input.focus.name if self.input.focus else "", self.session.running)
    if now != getattr(self, "told", None):
        self.told = now
        say("state", *now)
    return drew
App.step = told

result = run_changed(load_scenario("desk-corexy"), {})
window.run_window([result], "ringing", simulate=slow, size=(1280, 800))
until = time.monotonic() + 15
while threading.active_count() > 1 and time.monotonic() < until:
    time.sleep(0.05)  # a run or words on their way when the window closed: their thread ends with them
say(f"closed {threading.active_count()} {pygame.display.get_init()}")
"""


class Desk:
    """A virtual screen, a window on it, and what it says."""

    def __init__(self, tmp_path: Path) -> None:
        for tool in ("Xvfb", "xdotool"):
            if shutil.which(tool) is None:
                pytest.fail(f"{tool} is not installed; this test needs the Debian packages xvfb and xdotool")
        read, write = os.pipe()
        self.screen = subprocess.Popen(
            ["Xvfb", "-displayfd", str(write), "-screen", "0", "1700x1100x24", "-nolisten", "tcp"],
            pass_fds=[write],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(write)
        with os.fdopen(read) as pipe:
            number = pipe.readline().strip()
        assert number, "Xvfb did not start"
        self.env = {**os.environ, "DISPLAY": f":{number}"}
        for name in ("SDL_VIDEODRIVER", "SDL_VIDEO_DRIVER", "WAYLAND_DISPLAY"):
            self.env.pop(name, None)
        self.log = tmp_path / "log"
        with self.log.open("w") as out:
            self.child = subprocess.Popen(
                [sys.executable, "-c", CHILD], env=self.env, stdout=out, stderr=subprocess.STDOUT, cwd=tmp_path
            )

    def said(self) -> list[str]:
        return self.log.read_text().splitlines()

    def wait(self, what, longest_s: float = 30.0) -> None:
        """Until a condition on what was said holds."""
        until = time.monotonic() + longest_s
        while time.monotonic() < until:
            if what(self.said()):
                return
            if self.child.poll() is not None and not what(self.said()):
                break
            time.sleep(0.05)
        raise AssertionError("the window did not come that far:\n" + "\n".join(self.said()[-25:]))

    def last(self, column: int) -> str:
        """One column of the last state."""
        lines = [line.split("|") for line in self.said() if line.startswith("state|") and line.count("|") == 7]
        return lines[-1][column] if lines else ""

    def state(self, column: int, value: str) -> None:
        """Until the last state has that value in that column."""
        self.wait(lambda _: self.last(column) == value)

    def tool(self, *words: object) -> str:
        done = subprocess.run(["xdotool", *map(str, words)], env=self.env, capture_output=True, text=True, timeout=20)
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    def window(self, longest_s: float = 20.0) -> str:
        """The window's id. SDL sets the new name property only, which `xdotool search --name` does not read."""
        until = time.monotonic() + longest_s
        while time.monotonic() < until:
            for window in self.tool("search", "--class", "").splitlines():
                if self.tool("getwindowname", window).startswith("beltspring"):
                    return window
            time.sleep(0.1)
        raise AssertionError("no window of that name")

    def close(self) -> None:
        for process in (self.child, self.screen):
            if process.poll() is None:
                process.send_signal(signal.SIGTERM)
                try:
                    process.wait(5)
                except subprocess.TimeoutExpired:
                    process.kill()
                    process.wait(5)


@pytest.fixture
def desk_top(tmp_path):
    desk = Desk(tmp_path)
    yield desk
    desk.close()


def test_a_window_is_worked_by_hand(desk_top):
    d = desk_top
    d.wait(lambda said: any(s.startswith("state|ringing") for s in said), 60)
    window = d.window()
    d.tool("windowfocus", "--sync", window)
    where = dict(line.split("=") for line in d.tool("getwindowgeometry", "--shell", window).splitlines())
    x0, y0 = int(where["X"]), int(where["Y"])

    d.tool("key", "space")
    d.state(3, "True")  # playing
    d.tool("key", "space")
    d.state(3, "False")
    d.tool("key", "t")
    d.state(5, "light")

    # Drag the slider of the carriage's mass: its place follows from the layout at 1280 x 800.
    y = y0 + 262
    d.tool("mousemove", x0 + 1105, y, "mousedown", 1)
    for x in range(1107, 1190, 12):
        d.tool("mousemove", x0 + x, y)
    d.tool("mouseup", 1)
    d.state(4, "('carriage.mass_g',)")
    d.state(6, "carriage.mass_g")  # the focus
    d.state(7, "False")  # the run has come back
    d.tool("key", "ctrl+z")
    d.state(4, "()")

    d.tool("windowsize", window, 1500, 950)
    d.state(2, "(1500, 950)")
    d.tool("key", "ctrl+1")
    d.state(1, "mixing")
    d.tool("keydown", "q")
    time.sleep(0.4)
    d.tool("keyup", "q")
    d.tool("key", "ctrl+4")
    d.state(1, "compare")
    d.tool("key", "ctrl+2")
    d.state(1, "ringing")

    # Close in the middle of a run: focus the first slider, change it, and end the window at once.
    count = sum(s == "running" for s in d.said())
    d.tool("key", "ctrl+z")
    for _ in range(30):
        d.tool("key", "Tab")
        time.sleep(0.15)
        if d.last(6) == "belts.ea_n":
            break
    d.tool("key", "Right")
    d.wait(lambda said: sum(s == "running" for s in said) > count, 20)
    d.tool("key", "ctrl+q")
    d.wait(lambda said: any(s.startswith("closed") for s in said), 20)
    assert d.child.wait(20) == 0
    assert d.said()[-1] == "closed 1 False", d.said()[-5:]

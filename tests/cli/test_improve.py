"""`improve` as a person calls it: words in eighty columns, keys, files, mistakes, an early end; its page keeps its word."""

from __future__ import annotations

import json
import re
import signal
import time
from pathlib import Path

import pytest

SMALL = ["--set", "detail=simple", "--set", "move.pattern=step", "--set", "move.settle_ms=150"]
GUIDE = Path(__file__).parents[2] / "viz" / "guide" / "improve.md"


def test_it_says_what_to_change_first(beltspring, tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    said = beltspring("improve", "desk-corexy", *SMALL, "--prices", "example", "--out", tmp_path / "i")
    assert said.code == 0
    assert max(map(len, said.out.splitlines())) <= 80
    words = " ".join(said.out.split())
    assert "As written it rings by" in words
    assert "Best single change: −" in words
    assert "Together: −" in words
    assert (tmp_path / "i" / "scenario.toml").is_file()
    told = json.loads((tmp_path / "i" / "improve.json").read_text())
    for one in [*told["changes"], *told["together"], *told["motion"]]:
        assert set(one) >= {"set", "words", "judged_um", "gain_share", "price", "mass_g", "sure", "stops"}
        assert one["judged_um"] < told["judged_um"]
        assert one["sure"] is None
    assert told["currency"] == "EUR"
    assert told["complete"] is True
    # Every key the guide names is there.
    named = {
        key for row in re.findall(r"^\| (`.*?`) \|", GUIDE.read_text(), re.M) for key in re.findall(r"`(\w+)`", row)
    }
    there = {*told, *(key for one in told["changes"] for key in one)}
    assert named <= there


def test_the_commands_of_its_page_are_taken(capsys):
    from beltspring.viz.commands.base import Parser
    from beltspring.viz.commands.improve import arguments

    (block,) = re.findall(r"```bash\n(.*?)```", GUIDE.read_text(), re.S)
    for line in block.splitlines():
        parser = Parser(prog="improve")
        arguments(parser)
        parser.parse_args(line.split()[2:])


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["desk-corexy", "--draws", "32"], "--draws and --seed are for --spread"),
        (["desk-corexy", "--spread", "--draws", "4"], "must be 16 to 4096"),
        (["desk-corexy", "--prices", "nowhere.toml"], "nowhere.toml"),
        (["desk-corexy", "--set", "move.pattern=chirp"], "nothing to judge"),
        ([], "which scenario?"),
    ],
)
def test_mistakes_are_taught(beltspring, arguments, words, tmp_path):
    said = beltspring("improve", *arguments)
    assert said.code == 2
    assert words in said.err
    assert "Traceback" not in said.err


def test_run_limits_and_the_ripple_map_point_here(beltspring):
    assert "`beltspring improve`" in beltspring("run", "spring-mass").out
    said = beltspring("limits", "spring-mass", "--move", "x", "--ringing-um", "30")
    assert "`beltspring improve`" in " ".join(said.out.split())
    from beltspring.viz.pages.ripples import WHAT_TO_CHANGE

    assert "beltspring improve" in WHAT_TO_CHANGE


def test_ctrl_c_keeps_what_is_finished(process, tmp_path):
    child = process("improve", "desk-corexy", *SMALL, "--out", str(tmp_path / "kept"), "--json")
    time.sleep(0.2)
    folder = tmp_path / "kept"
    # The design as written is judged, and some changes: watch for the hidden folder, then let it work a little.
    deadline = time.monotonic() + 120
    while time.monotonic() < deadline and not list(tmp_path.glob(".*kept*")):
        time.sleep(0.05)
    time.sleep(0.8)
    child.send_signal(signal.SIGINT)
    asked = time.monotonic()
    out, err = child.communicate(timeout=60)
    assert time.monotonic() - asked < 10  # one second where nobody else computes
    if child.returncode == 0:
        pytest.skip("it had finished")
    assert child.returncode == 130, err.decode()
    if folder.exists():
        told = json.loads(out)
        assert told["complete"] is False
        assert told == json.loads((folder / "improve.json").read_text())
    else:
        assert b"interrupted" in err, "the design as written was not judged yet"
    assert b"Traceback" not in err

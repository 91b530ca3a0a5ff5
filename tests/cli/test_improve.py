"""`improve` as a person calls it: words in eighty columns, keys, files, mistakes, an early end; its page keeps its word."""

from __future__ import annotations

import json
import re
import signal
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


def test_ctrl_c_keeps_what_is_finished(beltspring, tmp_path, monkeypatch):
    # Pressed while the fifth design is judged: the design as written and three changes are there.
    from beltspring.sim.study import improve

    honest, asked = improve.judging, []

    def pressed(*values):
        asked.append(len(values))
        if len(asked) == 5:
            signal.raise_signal(signal.SIGINT)
        return honest(*values)

    monkeypatch.setattr(improve, "judging", pressed)
    said = beltspring("improve", "desk-corexy", *SMALL, "--out", tmp_path / "kept", "--json")
    assert said.code == 130
    assert "Traceback" not in said.err
    told = json.loads(said.out)
    assert told["complete"] is False
    assert told["tried"] == 3 < told["possible"]
    assert told == json.loads((tmp_path / "kept" / "improve.json").read_text())
    assert len(asked) == 5, "nothing is judged after it"

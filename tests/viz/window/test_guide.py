"""The guide to the window says what the window has: its tabs, its keys and cautions, the words on its switches."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from beltspring.viz.commands import COMMANDS
from beltspring.viz.commands.base import Parser
from beltspring.viz.window.keys import CAUTIONS, KEYS

GUIDE = (Path(__file__).parents[3] / "viz" / "guide" / "window.md").read_text(encoding="utf-8")


def test_the_tabs_are_told_in_their_order(hands):
    told = re.findall(r"^\*\*([^*]+)\.\*\*", GUIDE.partition("## The tabs")[2].partition("\n## ")[0], re.MULTILINE)
    assert told == [screen.title for screen in hands.app.screens]


def test_keys_are_those_of_the_table():
    lines = GUIDE.partition("## Keys")[2].partition("\n## ")[0].splitlines()
    told = [tuple(cell.strip() for cell in line.strip("|").split("|")) for line in lines if line.startswith("| ")]
    wanted = []
    for group in KEYS:
        wanted += [(group.title, ""), *((row.keys, row.words) for row in group.rows)]
    assert told == wanted
    assert all(f"- {caution}" in GUIDE for caution in CAUTIONS)


@pytest.mark.parametrize("line", re.findall(r"^beltspring .*$", GUIDE, re.MULTILINE))
def test_commands_are_understood(line):
    name, *words = shlex.split(line)[1:]
    command = next(c for c in COMMANDS if c.name == name)
    parser = Parser(prog=name)
    command.arguments(parser)
    parser.parse_args(words)


def test_what_is_called_by_its_label_has_it(hands):
    labels = {button.label for button in hands.app.frame.top_bar.buttons}
    assert {"Check", "Open", "Save", "Export"} <= labels
    mixing = hands.app.deck.named("mixing")
    assert {"belts give", "draw a path"} <= set(mixing.mode.labels)
    assert "as a wall" in hands.app.deck.named("print").seen.labels
    assert hands.app.deck.named("compare").search.label == "Search"

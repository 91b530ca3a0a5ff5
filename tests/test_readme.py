"""The README and the pages beside it keep their word: commands run, pictures are there, the transcript is what `run` prints."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path

import pytest
from beltspring.viz.cli import main
from beltspring.viz.commands import COMMANDS, Command, Parser

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
PAGES = [ROOT / "README.md", *sorted((ROOT / "viz" / "guide").glob("*.md"))]
#: What takes long, opens a window, or has its own tests; it is parsed here, not run.
NOT_RUN = {"improve", "watch", "film", "fit", "spread", "limits", "search"}


def commands_of(page: Path) -> list[list[str]]:
    """Every command line of a page's blocks, as words."""
    text = page.read_text(encoding="utf-8")
    lines = [
        line for body in re.findall(r"```(?:bash|console|text)\n(.*?)```", text, re.S) for line in body.splitlines()
    ]
    told = [line.removeprefix("$ ").split("  #")[0] for line in lines]
    return [shlex.split(line)[1:] for line in told if line.startswith("beltspring ")]


def parsed(words: list[str]) -> Command:
    """The command of a line, its options asked for; AssertionError where they are none."""
    (command,) = [c for c in COMMANDS if c.name == words[0]]
    parser = Parser(prog=f"beltspring {command.name}")
    command.arguments(parser)
    _, extra = parser.parse_known_args(words[1:])
    assert extra == [], words
    return command


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_every_command_that_is_shown_is_one(page):
    for words in commands_of(page):
        parsed(words)
    for span in re.findall(r"`beltspring ([^`]+)`", page.read_text(encoding="utf-8")):
        words = shlex.split(span)
        assert words[0] in {c.name for c in COMMANDS} | {"--help", "COMMAND"}, span
        if words[0] not in ("--help", "COMMAND"):
            parsed(words)


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_what_a_page_points_to_is_there(page):
    text = page.read_text(encoding="utf-8")
    for name in re.findall(r"\]\((?!https?:)([^)#]+)\)", text):
        assert (page.parent / name).exists(), name
    for block in re.findall(r"```toml\n(.*?)```", text, re.S):
        assert tomllib.loads(block)


@pytest.mark.parametrize("name", ["README.md", "first-machine.md", "order.md"])
def test_the_way_from_the_first_line_to_the_order_can_be_gone(name, tmp_path, monkeypatch, capsys):
    """Its lines, one after the other in an empty folder; where a folder is there from the line before, it is replaced."""
    (page,) = (p for p in PAGES if p.name == name)
    monkeypatch.chdir(tmp_path)
    run = 0
    for words in commands_of(page):
        if words[0] in NOT_RUN:
            continue
        if "--out" in words and Path(words[words.index("--out") + 1]).exists():
            words = [*words, "--replace"]
        assert main(words) == 0, (words, capsys.readouterr().err)
        run += 1
    assert run >= 4


def blocks(kind: str) -> list[list[str]]:
    """Lines of every fenced block of a kind."""
    return [body.strip().splitlines() for body in re.findall(rf"```{kind}\n(.*?)```", TEXT, re.S)]


def test_two_commands_of_one_line_each():
    assert [len(block) for block in blocks("bash")] == [1, 1]
    first, second = (block[0] for block in blocks("bash"))
    assert "beltspring run" in first
    assert "pytest" in second


def test_it_opens_with_the_job_in_one_paragraph():
    heading, empty, job, after = TEXT.splitlines()[:4]
    assert heading.startswith("# ")
    assert empty == after == ""
    assert len(job) > 300


def test_pictures_are_there():
    named = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", TEXT)
    assert len(named) >= 4
    first_screen = "\n".join(TEXT.splitlines()[:18])
    assert len(re.findall(r"!\[", first_screen)) == 3
    for name in named:
        assert (ROOT / name).stat().st_size > 10_000, name


def test_every_command_is_named(capsys):
    main(["--help"])
    told = set(re.findall(r"^  ([a-z]+)  ", capsys.readouterr().out, re.M)) - {"beltspring"}
    assert len(told) > 5
    for command in told:
        assert f"beltspring {command}" in TEXT, command


def test_the_transcript_is_what_run_prints(capsys, monkeypatch):
    (block,) = (b for b in blocks("text") if b[0].startswith("$ beltspring"))
    monkeypatch.setenv("COLUMNS", "80")
    assert main(block[0].split()[2:]) == 0
    printed = [line.rstrip() for line in capsys.readouterr().out.splitlines()]
    # How many times real time depends on the computer; everything else must be there to the letter.
    wanted = [line for line in block[1:] if "real time" not in line]
    assert len(wanted) > 10
    assert [line for line in wanted if line not in printed] == []


def test_the_example_file_is_a_machine(tmp_path, capsys):
    (block,) = blocks("toml")
    file = tmp_path / "mine.toml"
    file.write_text("\n".join(block), encoding="utf-8")
    assert main(["check", str(file)]) == 0
    assert "[[variant]]" in "\n".join(block)
    assert main(["run", str(file)]) == 0
    assert re.search(r"rings at [\d.]+ Hz", capsys.readouterr().out)


@pytest.mark.parametrize("word", ["clear", "pretension", "licensed", "eye protection", "not a safety certificate"])
def test_cautions_stand_in_it(word):
    assert word in TEXT

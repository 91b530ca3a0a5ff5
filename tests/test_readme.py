"""The README keeps its word: one line a command, every command named, pictures there, the transcript what `run` prints."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from beltspring.viz.cli import main

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")


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

"""One reader for every file a person names: ordinary files, a limit before reading, nothing that steers a terminal."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import pytest
from beltspring.sim.chain.chain import prepare
from beltspring.sim.errors import InputError
from beltspring.sim.files import (
    LONGEST_LINE,
    MOST_NAMES,
    comma_words,
    name_of,
    opened,
    parse_toml,
    printable,
    read_text,
)
from beltspring.sim.order.prices import load_prices, read_prices
from beltspring.sim.scenario.load import load_scenario

from tests.support import shipped

ESCAPES = "\x1b]0;owned\x07\x1b[2J"


def of_program(path: Path) -> object:
    return prepare(shipped("key-tag", {"move.gcode": str(path)}))


READERS = {"scenario": load_scenario, "prices": load_prices, "program": of_program}


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("kind", ["folder", "pipe", "device", "absent"])
def test_only_ordinary_files_are_read(tmp_path: Path, reader: str, kind: str) -> None:
    path = tmp_path / "given"
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "device":
        path = Path("/dev/zero")
    with pytest.raises(InputError) as told:
        READERS[reader](path)
    wanted = {"folder": "is a folder", "pipe": "ordinary file", "device": "ordinary file", "absent": "o such file"}
    assert wanted[kind] in str(told.value)


@pytest.mark.parametrize("reader", ["scenario", "prices"])
def test_a_huge_file_is_refused_before_it_is_read(tmp_path: Path, reader: str) -> None:
    path = tmp_path / "huge.toml"
    with path.open("wb") as file:
        file.truncate(3 * 10**9)  # sparse: takes no room, and three gigabytes for whoever reads it whole
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(InputError, match="larger than"):
        READERS[reader](path)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 100_000  # kB


@pytest.mark.parametrize(
    "text",
    [
        "." * 400_000,
        "a." * 200_000 + "b = 1",
        "[" + "a." * 200_000 + "b]",
        '"a".' * 100_000 + "b = 1",
        "x = {" + "a = {" * 100_000,
        "\n".join(f"k{n}." + "a." * 1990 + "b = 1" for n in range(400)),
        "\n".join(f"k{n}." + "a." * 10 + "b = 1" for n in range(40_000)),
    ],
)
def test_no_toml_holds_the_parser_up(text: str) -> None:
    # The parser of the standard library needs time with the square and more of the names in a dotted key: the first of
    # these alone was not done after minutes.
    began = time.process_time()
    try:
        parse_toml(text[:2_000_000], "a.toml")
    except InputError as told:
        assert str(told).startswith("a.toml line ")  # noqa: PT017
    assert time.process_time() - began < 8.0


def test_what_anybody_would_write_is_not_refused() -> None:
    line = '"' + "a.b.c.d.e.f.g.h.i.j.k.l.m.n" + '"'
    text = f"#{'.' * 5000}\n# {'a.' * 3000}\nnote = {line}\nlist = [{', '.join('1.5' for _ in range(500))}]\n"
    assert parse_toml(text, "a.toml")["note"].endswith("m.n")
    assert len(max(text.split("\n")[2:], key=len)) < LONGEST_LINE


def test_the_longest_line_and_the_deepest_key_are_taken_and_no_longer_ones() -> None:
    longest = 'note = "' + "a" * (4000 - len('note = ""')) + '"'
    assert len(longest) == LONGEST_LINE == 4000
    assert len(parse_toml(longest, "a.toml")["note"]) == 4000 - len('note = ""')
    with pytest.raises(InputError, match=r"^a.toml line 3: is 4001 characters long, and 4000 are the most"):
        parse_toml(f"a = 1\n#{longest}\nb{longest}", "a.toml")
    assert MOST_NAMES == 12
    twelve = ".".join("abcdefghijkl")
    assert parse_toml(f"# {twelve}.m.n = 1\n{twelve} = 1", "a.toml")["a"]
    assert parse_toml('x = "1.2.3.4.5.6.7.8.9.0.1.2.3.4"', "a.toml")["x"]
    for deep in (f"{twelve}.m = 1", f"[{twelve}.m]", f"x = 1 # {twelve}.m\n{twelve} . m = 1"):
        with pytest.raises(InputError, match=r"a.toml line \d: more than 12 names"):
            parse_toml(deep, "a.toml")
    with pytest.raises(InputError, match="brackets are nested too deeply"):
        parse_toml("a = " + "[" * 3000, "a.toml")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("a = 1\nb = 16,5\n", "f line 2: a number has a decimal point here, not a comma: write 16.5"),
        ("t = { x = 2, y = -3,25 }", "f line 1: a number has a decimal point here, not a comma: write -3.25"),
        ("a = 1\nb = ]\n", "f line 2, column 5: Invalid value (the file must be TOML: key = value)"),
        (
            "a = 1\nb = \n",
            "f line 2: b has no value; write one behind the = (a number as b = 2.5, words in quotes), or put # before "
            "the line to leave it out",
        ),
        ("a = 1\na = 2\nc", "f line 2, column 6: Cannot overwrite a value (the file must be TOML: key = value)"),
        ('a = "x', "f at the end: "),
    ],
)
def test_what_is_no_toml_is_told_with_its_line(text: str, told: str) -> None:
    with pytest.raises(InputError) as raised:
        parse_toml(text, "f")
    said = str(raised.value)
    if told.endswith("at the end: "):
        assert said.startswith("f: ")
        assert "at the end" in said
    else:
        assert said == told


def test_a_number_with_a_comma_is_known_from_anything_else() -> None:
    assert comma_words(" -12,50 ").endswith("write -12.50")
    for other in ("12.5", "1,2,3", "a,b", "", "1234567890123456,5"):
        assert comma_words(other) == ""


def test_a_name_for_a_message_is_cut_where_it_is_long_and_quoted_where_it_is_odd() -> None:
    assert name_of("plain name.toml") == "plain name.toml"
    assert name_of("") == '""'
    assert name_of("a" * 500) == "a" * 500
    assert name_of("a" * 60, 60) == "a" * 60
    assert name_of("a" * 58, 57) == '"' + "a" * 58 + '"'
    assert name_of("a" * 501) == '"' + "a" * 56 + "..."
    assert name_of("a" * 59, 58) == '"' + "a" * 56 + "..."
    assert name_of("a\x1bb") == '"a\\u001bb"'


def test_a_file_of_just_the_size_allowed_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_bytes(b"\xef\xbb\xbfab")
    assert read_text(path, "a note", 5) == "ab"
    with pytest.raises(InputError, match=r"^a.txt: larger than 0 kB, which is too much for a note; cut it$"):
        read_text(path, "a note", 4, "; cut it")
    with path.open("wb") as file:
        file.truncate(3_000_000)
    for most, told in ((1_000_000, "1 MB"), (999_999, "999 kB"), (2_900_000, "2 MB"), (1999, "1 kB")):
        with pytest.raises(InputError, match=f"larger than {told}, which is too much for a note$"):
            read_text(path, "a note", most)
    with pytest.raises(InputError, match=r"^a.txt: is not a text file \(it holds zero bytes\)"):
        read_text(path, "a note", 3_000_000)
    path.write_bytes(b"one\ntwo\nthr\xffee\n")
    with pytest.raises(InputError, match=r"^a.txt line 3: is not UTF-8 text; save a note as UTF-8$"):
        read_text(path, "a note", 100)


def test_a_file_is_opened_on_systems_without_such_flags(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.txt").write_bytes(b"text\r\n")
    monkeypatch.delattr(os, "O_NONBLOCK")
    with opened(tmp_path / "a.txt", "a note") as file:
        assert file.read() == b"text\r\n"


@pytest.mark.parametrize("bad", ["\x1b[31m", "\x9b31m", "\r", "\x7f", "\u202e", "\u2028", "\x00", "\x07"])
def test_what_steers_a_terminal_is_escaped(bad: str) -> None:
    assert printable(f"a{bad}b\tc\n").isprintable() is False  # tab and line end stay
    assert printable(f"a{bad}b").isprintable()
    assert printable("Werkbank 2,5 µm — ö 機械") == "Werkbank 2,5 µm — ö 機械"


PRICES = """
currency = "\\u001b[31mE"
[each]
"{0}motor-17-40x" = 3
"motor-17-4{0}0" = 3
[stock]
"{0}slot" = {{ 1000 = 7.9 }}
"""


def silent(text: str) -> bool:
    return not any((ord(c) < 32 and c not in "\n\t") or 0x7F <= ord(c) < 0xA0 for c in text)


@pytest.mark.parametrize("command", [["order"], ["order", "--json"], ["order", "--quiet"]])
def test_a_price_file_cannot_steer_the_terminal(tmp_path: Path, command: list[str]) -> None:
    escaped = "".join(f"\\u{ord(c):04x}" for c in ESCAPES + "\x9b1m")
    (tmp_path / "p.toml").write_text(PRICES.format(escaped), encoding="utf-8")
    assert silent(run_command(tmp_path, command[0], "desk-corexy", "--prices", "p.toml", *command[1:]))
    (tmp_path / "bad.toml").write_text(f'"{escaped}" = 1\n')
    assert silent(run_command(tmp_path, command[0], "desk-corexy", "--prices", "bad.toml", *command[1:]))


@pytest.mark.parametrize("command", ["run", "check", "show", "modes", "order", "limits", "compare"])
@pytest.mark.parametrize("form", [[], ["--json"]])
def test_a_scenario_cannot_steer_the_terminal(tmp_path: Path, command: str, form: list[str]) -> None:
    escaped = "".join(f"\\u{ord(c):04x}" for c in ESCAPES)
    text = Path(str(load_scenario("spring-mass").folder), "spring-mass.toml").read_text(encoding="utf-8")
    text = "\n".join(f'title = "a{escaped}b\\u009b1m"' if t.startswith("title") else t for t in text.split("\n"))
    text += f'\n[[variant]]\nname = "v{escaped}"\nset = {{ "move.size_mm" = 11 }}\n'
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    assert silent(run_command(tmp_path, command, "s.toml", *form))
    assert silent(run_command(tmp_path, command, "s.toml", "--variant", f"w{ESCAPES}", "--set", f"a{ESCAPES}=1", *form))
    assert silent(run_command(tmp_path, command, f"no{ESCAPES}", *form))
    assert silent(run_command(tmp_path, f"{command}{ESCAPES}", f"--x{ESCAPES}", *form))


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run_command(folder: Path, *arguments: str) -> str:
    """Everything a command says on both streams, in this process."""
    import contextlib
    import io

    from beltspring.viz.cli import main

    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        main(list(arguments))
    assert "Traceback" not in out.getvalue()
    assert out.getvalue() or "--quiet" in arguments
    return out.getvalue()


def test_the_price_reader_names_what_is_wrong() -> None:
    with pytest.raises(InputError, match=r"p\.toml line 2: is 5001 characters long"):
        read_prices("\n" + "a" * 5001, "p.toml")


def test_a_device_is_not_read_by_a_process_either(tmp_path: Path) -> None:
    code = "import sys; from beltspring.viz.cli import main; sys.exit(main())"
    for arguments in (["order", "spring-mass", "--prices", "/dev/zero"], ["run", "/dev/zero"]):
        made = subprocess.run([sys.executable, "-c", code, *arguments], capture_output=True, text=True, timeout=60)
        assert made.returncode == 2
        assert "not an ordinary file" in made.stderr

"""`search` as a person calls it: words in eighty columns, files, mistakes, an early end and going on; its page keeps its word."""

from __future__ import annotations

import csv
import json
import re
import shlex
import signal
import time
from pathlib import Path

import pytest
from beltspring.sim import load, prepare
from beltspring.sim.chain.judged import judge_ringing, paces_of

QUICK = ["--set", "detail=simple", "--set", "move.pattern=step", "--set", "move.settle_ms=150"]
VARY = ["--vary", "belts.part=belt-2mm-6-glass,belt-2mm-9-glass", "--vary", "motors.part=motor-17-40,motor-17-48"]
GUIDE = Path(__file__).parents[2] / "viz" / "guide" / "search.md"


def test_it_says_which_designs_none_beats(beltspring, tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    place = tmp_path / "s"
    said = beltspring("search", "desk-corexy", *QUICK, *VARY, "--prices", "example", "--out", place)
    assert said.code == 0, said.err
    assert max(map(len, said.out.splitlines())) <= 80
    words = " ".join(said.out.split())
    assert "4 designs are possible, all of them judged" in words
    assert "Least judged ringing:" in words
    told = json.loads((place / "search.json").read_text())
    assert (told["possible"], told["judged"], told["complete"]) == (4, 4, True)
    with (place / "table.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 4
    assert sum(row["front"] == "yes" for row in rows) == len(told["front"])
    assert {path.name for path in (place / "winners").iterdir()} == {f"{i + 1}.toml" for i in range(len(told["front"]))}
    assert (place / "front.png").stat().st_size > 10_000
    # A winner opens everywhere, and is what the table says.
    first, winner = load("desk-corexy", QUICK[1::2]), load(place / "winners" / "1.toml")
    (judged,) = judge_ringing([prepare(winner)], paces_of(prepare(first)))
    assert judged is not None
    assert 1e6 * judged.judged_m == pytest.approx(told["front"][0]["judged_um"], rel=1e-5)
    again = beltspring("order", place / "winners" / "1.toml", "--prices", "example", "--json")
    assert json.loads(again.out)["total_price"] == pytest.approx(told["front"][0]["price"], abs=0.01)
    # Results are replaced; a file that is not ours, in the folder of winners too, is kept.
    assert beltspring("search", "desk-corexy", *QUICK, *VARY, "--out", place, "--replace", "--quiet").code == 0
    (place / "winners" / "notes.txt").write_text("mine")
    said = beltspring("search", "desk-corexy", *QUICK, *VARY, "--out", place, "--replace")
    assert said.code == 2
    assert "winners/notes.txt, which beltspring did not write" in said.err
    named = {
        key for row in re.findall(r"^\| (`.*?`) \|", GUIDE.read_text(), re.M) for key in re.findall(r"`(\w+)`", row)
    }
    assert named <= {*told, "key"}


def test_the_commands_of_its_page_are_taken():
    from beltspring.sim import load, search_wanted
    from beltspring.viz.commands.base import Parser
    from beltspring.viz.commands.search import arguments

    (block,) = re.findall(r"```bash\n(.*?)```", GUIDE.read_text(), re.S)
    for line in block.splitlines():
        words = shlex.split(line)
        if words[1] == "search":
            parser = Parser(prog="search")
            arguments(parser)
            args = parser.parse_args(words[2:])
            wanted = search_wanted(load(args.scenario), args.vary, args.least, args.keep, bool(args.prices))
            assert wanted.space.possible == 3 * 2 * 3


def test_what_the_page_writes_into_a_file_is_read(tmp_path):
    from beltspring.sim import load, search_wanted
    from beltspring.sim.scenario.source import read

    (block,) = re.findall(r"```toml\n(.*?)```", GUIDE.read_text(), re.S)
    file = tmp_path / "mine.toml"
    base = (
        'title = "Mine"\nlayout = "corexy"\n[space]\nx_mm = 200\ny_mm = 200\nz_mm = 180\n[move]\npattern = "square"\n'
    )
    file.write_text(base + block)
    assert read(file)
    wanted = search_wanted(load(file), priced=True)
    assert wanted.space.possible == 3 * 33
    assert (wanted.goals.least, wanted.tries) == (("judged_um", "price"), 300)


def test_no_design_that_keeps_the_rules(beltspring):
    said = beltspring("search", "desk-corexy", *QUICK, *VARY, "--keep", "mass_g<1")
    assert said.code == 1
    assert "None keeps mass_g < 1" in said.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["desk-corexy"], "nothing to search: say what may vary"),
        (["desk-corexy", *VARY, "--least", "price"], "give it with --prices"),
        (["desk-corexy", *VARY, "--tries", "0"], "--tries 0: give 1 to"),
        (["desk-corexy", *VARY, "--workers", "0"], "must be 1 to 256"),
        (["desk-corexy", *VARY, "--workers", "2", "--cluster", "local:2"], "give one"),
        (["desk-corexy", *VARY, "--cluster", "local:many"], "write local:2"),
        (["desk-corexy", *VARY, "--set", "move.pattern=chirp"], "nothing to judge"),
        (["desk-corexy", "--vary", "belts.prat=a,b"], "did you mean part?"),
    ],
)
def test_mistakes_are_told(beltspring, arguments, words):
    said = beltspring("search", *arguments)
    assert said.code in (1, 2)
    assert words in said.err + said.out
    assert "Traceback" not in said.err


def test_an_early_end_keeps_what_is_judged_and_the_store_goes_on(process, beltspring, tmp_path):
    store, place = tmp_path / "kept.db", tmp_path / "early"
    wanted = ["search", "desk-corexy", *QUICK, "--vary", "frame.height_mm=360..440", "--vary", "belts.pretension_n=10..40",
              "--tries", "120", "--workers", "1", "--store", str(store)]  # fmt: skip
    running = process(*wanted, "--out", str(place))
    until = time.monotonic() + 120
    while time.monotonic() < until and not (store.exists() and store.stat().st_size > 16384):
        time.sleep(0.1)
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=60)
    assert running.returncode == 130, err
    assert b"Traceback" not in err
    assert b"Ended early" in out
    assert not json.loads((place / "search.json").read_text())["complete"]

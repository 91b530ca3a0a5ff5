"""`compare` as a person chooses by it: layouts, prices, what check stops, what cannot be built, files, and a table of its own."""

from __future__ import annotations

import csv
import json

import pytest

SIMPLE = ["--set", "detail=simple", "--set", "move.pattern=step", "--set", "move.settle_ms=200"]
LAYOUTS = ["--vary", "layout=corexy,hframe,box,moving-bed"]


@pytest.fixture(scope="module")
def layouts(tmp_path_factory):
    """The first decision of the job, on the shipped desk machine, with everything that is written."""
    from beltspring.viz.cli import main

    place = tmp_path_factory.mktemp("layouts")
    arguments = ["compare", "desk-corexy", *SIMPLE, *LAYOUTS, "--prices", "example", "--quiet"]
    assert main([*arguments, "--out", str(place / "out"), "--csv", str(place / "rows.csv")]) == 0
    return place


def test_layouts_stand_side_by_side_each_with_the_frame_it_needs(layouts):
    told = json.loads((layouts / "out" / "compare.json").read_text())
    rows = {d["name"]: d for d in told["designs"]}
    assert set(rows) == {"corexy", "hframe", "box", "moving-bed"}
    assert any("frame.width_mm = 404" in r for r in rows["box"]["remarks"]), "the file's 380 mm are too narrow for it"
    assert any("two columns" in r for r in rows["moving-bed"]["remarks"])
    assert rows["corexy"]["remarks"] == []
    for d in told["designs"]:
        assert d["refused"] is None
        assert d["price"] > 100
        assert set(d["check"]) == {"stops", "warnings", "rules"}
        assert len(d["check"]["rules"]) == d["check"]["stops"] + d["check"]["warnings"]
        assert d["frequencies_hz"]["x"] > 10
        assert d["moving_mass_g"]["y"] > d["moving_mass_g"]["x"] > 300
    ranked = [(bool(d["check"]["stops"]), d["judged_um"]) for d in told["designs"]]
    assert ranked == sorted(ranked)
    best = rows[told["best"]]
    assert best["check"]["stops"] == 0
    assert best["unbeaten"] is True


def test_every_design_is_in_the_picture(layouts):
    import pygame

    image = pygame.image.load(layouts / "out" / "compare.png")
    from beltspring.viz.pages.ranges import FOOT, ROW, TOP

    assert image.get_height() == TOP + 4 * ROW + FOOT
    assert (layouts / "out" / "picture.png").stat().st_size > 10_000


def test_the_table_of_its_own_says_the_same(layouts):
    told = json.loads((layouts / "out" / "compare.json").read_text())
    with (layouts / "rows.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert [r["name"] for r in rows] == [d["name"] for d in told["designs"]]
    for row, d in zip(rows, told["designs"], strict=True):
        assert float(row["judged_um"]) == d["judged_um"]
        assert float(row["price"]) == d["price"]
        assert float(row["x_hz"]) == d["frequencies_hz"]["x"]
        assert int(row["stops"]) == d["check"]["stops"]
        assert row["rules"].split() == d["check"]["rules"]


def test_a_design_that_cannot_be_built_is_a_row(beltspring, tmp_path):
    vary = ["--vary", "frame.width_mm=380,190"]
    told = json.loads(beltspring("compare", "desk-corexy", *SIMPLE, *vary, "--json").out)
    good, bad = told["designs"]
    assert (good["name"], good["refused"], bad["name"]) == ("width_mm 380", None, "width_mm 190")
    assert "190" in bad["refused"]
    assert set(bad) == set(good)
    assert (bad["judged_um"], bad["price"], bad["check"], bad["run"]) == (None, None, None, None)
    said = beltspring("compare", "desk-corexy", *SIMPLE, *vary)
    assert said.code == 0
    assert "refused: " in " ".join(said.out.split())
    nothing = beltspring("compare", "desk-corexy", *SIMPLE, "--vary", "frame.width_mm=190,200")
    assert nothing.code == 2
    assert "190" in nothing.err


def test_files_stand_side_by_side_under_the_first_ones_move(beltspring):
    told = json.loads(beltspring("compare", "spring-mass", "desk-corexy-slot", "--set", "detail=simple", "--json").out)
    rows = {d["name"]: d for d in told["designs"]}
    assert set(rows) == {"spring-mass", "desk-corexy-slot"}
    assert told["move"].startswith("step 20 mm along x")
    assert rows["desk-corexy-slot"]["run"]["move"].startswith("step 20 mm along x")
    assert rows["desk-corexy-slot"]["remarks"] == ["moves as spring-mass does"]


def test_what_does_nothing_in_a_move_is_said(beltspring):
    said = beltspring("compare", "desk-corexy", *SIMPLE, "--vary", "carriage.shaft=h6,h11")
    words = " ".join(said.out.split())
    assert "h6 and h11 do not differ in a simulated move: see `beltspring check`." in words


def test_keys_that_do_nothing_at_this_detail(beltspring):
    """Refused where nothing else is changed, told where something is."""
    alone = beltspring("compare", "desk-corexy", *SIMPLE, "--vary", "feet.part=feet-rubber,feet-hard")
    assert alone.code == 2
    assert 'does nothing at detail = "simple"' in alone.err
    both = ["--vary", "feet.part=feet-rubber,feet-hard", "--vary", "belts.part=belt-2mm-6-glass,belt-2mm-9-glass"]
    told = json.loads(beltspring("compare", "desk-corexy", *SIMPLE, *both, "--json").out)
    assert all('feet.part does nothing at detail = "simple"' in d["remarks"] for d in told["designs"])


def test_the_ten_best_of_many(beltspring, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    vary = [
        "--vary",
        "belts.part=belt-2mm-6-glass,belt-2mm-9-glass,belt-2mm-6-steel",
        "--vary",
        "motors.pulley_teeth=16,18,20,24",
    ]
    few = beltspring("compare", "desk-corexy", *SIMPLE, *vary)
    assert few.code == 0
    assert max(map(len, few.out.splitlines())) <= 80
    assert "2 more that ring more, or are stopped: --all" in few.out
    many = beltspring("compare", "desk-corexy", *SIMPLE, *vary, "--all")
    words = " ".join(many.out.split())
    assert "more that ring" not in many.out
    assert words.count("pulley_teeth 24") >= 6, "three rows in each of two tables"
    assert "rings by" in words
    assert max(map(len, many.out.splitlines())) <= 80


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["desk-corexy", "--vary", "belts.part=belt-2mm-7-glass,belt-2mm-9-glass"], "did you mean belt-2mm-"),
        (["desk-corexy", "spring-mass", "--vary", "layout=corexy,box"], "--vary takes one scenario"),
        (["desk-corexy", "--prices", "nowhere.toml"], "nowhere.toml"),
        (["desk-corexy", "--csv", "."], "is a folder"),
    ],
)
def test_mistakes_are_taught(beltspring, arguments, words):
    said = beltspring("compare", *arguments)
    assert said.code == 2
    assert words in said.err
    assert "Traceback" not in said.err


def test_a_table_that_is_there_is_kept(beltspring, tmp_path):
    taken = tmp_path / "taken.csv"
    taken.write_text("mine")
    said = beltspring("compare", "spring-mass", "--csv", taken)
    assert (said.code, taken.read_text()) == (2, "mine")
    assert "--replace" in said.err
    assert beltspring("compare", "spring-mass", "--csv", taken, "--replace", "--quiet").code == 0
    assert taken.read_text().startswith("name,judged_um,")


def test_help_shows_the_first_decision_of_the_job(capsys):
    from beltspring.viz.cli import main

    with pytest.raises(SystemExit):
        main(["compare", "--help"])
    assert "--vary layout=corexy,hframe,box,moving-bed" in " ".join(capsys.readouterr().out.split())


def test_its_page_keeps_its_word(layouts):
    import re
    from pathlib import Path

    from beltspring.viz.commands.base import Parser
    from beltspring.viz.commands.compare import arguments

    page = (Path(__file__).parents[2] / "viz" / "guide" / "compare.md").read_text()
    (block,) = re.findall(r"```bash\n(.*?)```", page, re.S)
    for line in block.splitlines():
        parser = Parser(prog="compare")
        arguments(parser)
        parser.parse_args(line.split()[2:])
    told = json.loads((layouts / "out" / "compare.json").read_text())
    named = {key for row in re.findall(r"^\| (`.*?`) \|", page, re.M) for key in re.findall(r"`(\w+)`", row)}
    assert named <= {*told, *told["designs"][0]}


def test_an_early_end_keeps_the_designs_that_were_run(beltspring, monkeypatch):
    """As if Ctrl-C came while the third design runs, and while the machines are drawn."""
    from beltspring.sim.study import report as module

    made, plain = [], module.simulate_prepared

    def twice(*args, **more):
        made.append(1)
        if len(made) > 2:
            raise KeyboardInterrupt
        return plain(*args, **more)

    vary = ["--vary", "belts.pretension_n=12,16,20,24"]
    monkeypatch.setattr(module, "simulate_prepared", twice)
    said = beltspring("compare", "desk-corexy", *SIMPLE, *vary, "--json")
    assert said.code == 130
    told = json.loads(said.out)
    assert (told["complete"], len(told["designs"]), told["sure"]) == (False, 2, None)
    assert "ended early: 2 of 4 designs were run" in said.err
    monkeypatch.undo()
    import beltspring.sim as door

    def interrupted(*_args, **_more):
        raise KeyboardInterrupt

    monkeypatch.setattr(door, "spread_comparison", interrupted)
    said = beltspring("compare", "desk-corexy", *SIMPLE, *vary, "--spread", "--json")
    assert said.code == 130
    assert len(json.loads(said.out)["designs"]) == 4
    assert "nothing says how sure" in said.err

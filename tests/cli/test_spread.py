"""`spread` and `compare --spread` as a person calls them: keys, words in eighty columns, and mistakes."""

import json

import pytest

SIMPLE = ["--set", "detail=simple", "--draws", "16"]


def test_spread_says_how_far_and_what_to_measure_first(beltspring, tmp_path):
    said = beltspring("spread", "desk-corexy", *SIMPLE, "--out", tmp_path / "s")
    assert said.code == 0
    assert max(map(len, said.out.splitlines())) <= 80
    assert "Of 10 machines built from these parts 8 ring by" in said.out
    told = json.loads((tmp_path / "s" / "spread.json").read_text())["spread"]
    assert (told["draws"], told["seed"], told["better"]) == (16, 1, [])
    for name in ("judged_um", "x_hz", "y_hz", "least_tension_n"):
        answer = told["answers"][name]
        assert answer["low"] < answer["middle"] < answer["high"]
    assert all(set(share) == {"key", "keys", "share", "measure"} for share in told["shares"])
    shares = [share["share"] for share in told["shares"]]
    assert shares == sorted(shares, reverse=True)
    assert (tmp_path / "s" / "scenario.toml").is_file()


def test_compare_says_how_sure_it_is(beltspring):
    belts = "belts.part=belt-2mm-6-glass,belt-2mm-6-steel"
    told = json.loads(beltspring("compare", "desk-corexy", *SIMPLE, "--vary", belts, "--spread", "--json").out)
    assert (told["best"], told["sure"]) == ("belt-2mm-6-steel", "yes")
    assert told["of_draws"] == 16
    assert told["verdict"].startswith("belt-2mm-6-steel rings less than belt-2mm-6-glass in 16 of 16 machines")
    (better,) = told["spread"]["better"]
    assert (better["label"], better["than"], better["of_draws"]) == ("belt-2mm-6-steel", "belt-2mm-6-glass", 16)
    assert all(d["spread"]["answers"]["judged_um"]["low"] > 0 for d in told["designs"])


def test_without_machines_nothing_is_called_sure(beltspring):
    told = json.loads(beltspring("compare", "spring-mass", "--json").out)
    assert (told["verdict"], told["sure"], told["of_draws"], told["spread"]) == (None, None, None, None)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["spread", "desk-corexy", "--draws", "4"], "--draws 4: must be 16 to 4096"),
        (["spread", "desk-corexy", "--seed", "-1"], "--seed -1: must be 0 or more"),
        (["compare", "desk-corexy", "--draws", "32"], "--draws and --seed are for --spread"),
        (["spread", "desk-corexy", "--set", "band.belts.ea_n=[1, 2]"], "both must be 100 to 10000000 N"),
        (["spread", "desk-corexy", "--set", "band.belts.ea_n=[16000, 20000]"], "the value 15000 lies outside"),
        (["spread", "desk-corexy", "--set", "band.frame.top_mass_g=[4000, 5000]"], "write its measured value beside"),
    ],
)
def test_mistakes_are_taught(beltspring, arguments, words):
    said = beltspring(*arguments)
    assert said.code == 2
    assert words in said.err
    assert "Traceback" not in said.err

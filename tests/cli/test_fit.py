"""`fit` as a person calls it: from files to words in eighty columns, JSON, a picture, and mistakes."""

from __future__ import annotations

import json
import signal

import pytest

SIMPLE = ["--set", "detail=simple"]
RIPPLES = "[[ripples]]\naxis = 'x'\nspeed_mm_s = 150\nspacing_mm = 1.55\n"


@pytest.fixture
def measured(tmp_path):
    path = tmp_path / "measured.toml"
    path.write_text(RIPPLES, encoding="utf-8")
    return path


def test_a_fit_leaves_its_files(beltspring, tmp_path, measured, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    out = tmp_path / "out"
    said = beltspring("fit", "desk-corexy", *SIMPLE, "--measured", measured, "--out", out)
    assert said.code == 0
    assert max(map(len, said.out.splitlines())) <= 80
    assert {p.name for p in out.iterdir()} == {"fitted.toml", "report.txt", "picture.png", "fit.json", "curves.json"}
    assert (out / "picture.png").read_bytes().startswith(b"\x89PNG")
    found = json.loads((out / "fit.json").read_text())
    assert set(found) >= {"explains", "checked", "parameters", "apart", "records"}
    assert (found["explains"], found["checked"], found["records"]) == (True, False, [])
    for p in found["parameters"]:
        assert set(p) >= {"key", "before", "after", "give_or_take", "informed", "words"}
        assert p["give_or_take"] > 0
    assert "Not checked" in (out / "report.txt").read_text()
    again = beltspring("show", out / "fitted.toml", "--json")
    assert again.code == 0


def test_what_cannot_be_explained_ends_with_one_and_leaves_no_fitted_file(beltspring, tmp_path):
    path, out = tmp_path / "measured.toml", tmp_path / "out"
    path.write_text("[[push]]\naxis = 'x'\nforce_n = 20\ngives_um = 2000\n", encoding="utf-8")
    said = beltspring("fit", "desk-corexy", *SIMPLE, "--measured", path, "--out", out)
    assert said.code == 1
    assert "cannot make push tool x" in " ".join(said.out.split())
    assert {p.name for p in out.iterdir()} == {"report.txt", "picture.png", "fit.json", "curves.json"}
    assert json.loads((out / "fit.json").read_text())["explains"] is False


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["fit", "desk-corexy"], "what was measured? Give --measured FILE"),
        (["fit", "desk-corexy", "--measured", "none.toml"], "none.toml: cannot be read"),
        (["fit", "desk-corexy", "--measured", "MEASURED", "--free", "belts.ean"], "did you mean belts.ea_n?"),
    ],
)
def test_mistakes_are_taught(beltspring, measured, arguments, words):
    said = beltspring(*[str(measured) if a == "MEASURED" else a for a in arguments])
    assert said.code == 2
    assert words in said.err
    assert "Traceback" not in said.err


def test_a_strand_that_is_not_there_is_told_with_those_that_are(beltspring, tmp_path):
    path = tmp_path / "measured.toml"
    path.write_text("[[pitch]]\nrun = 'a centre'\nfree_mm = 250\nhz = 80\n", encoding="utf-8")
    said = beltspring("fit", "desk-corexy", *SIMPLE, "--measured", path)
    assert said.code == 2
    assert 'no such strand; there are "a left"' in said.err


def test_ctrl_c_keeps_the_best_so_far(beltspring, measured, tmp_path, monkeypatch):
    # Pressed while the model is asked for the thirtieth time: the search has begun and is not over.
    from beltspring.sim.study.fit.problem import Problem

    honest, asked = Problem.say, []

    def pressed(self, *values, **named):
        asked.append(len(values))
        if len(asked) == 30:
            signal.raise_signal(signal.SIGINT)
        return honest(self, *values, **named)

    monkeypatch.setattr(Problem, "say", pressed)
    out = tmp_path / "out"
    said = beltspring("fit", "desk-corexy", *SIMPLE, "--measured", measured, "--out", out)
    assert said.code == 130
    assert "Traceback" not in said.err
    assert "best so far" in " ".join(said.out.split())
    assert {p.name for p in out.iterdir()} >= {"report.txt", "picture.png", "fit.json"}
    assert not (out / "fitted.toml").exists()


def test_measure_says_what_to_measure_and_leaves_what_is_needed(beltspring, tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    out = tmp_path / "bench"
    said = beltspring("measure", "desk-corexy", *SIMPLE, "--out", out)
    assert said.code == 0
    assert max(map(len, said.out.splitlines())) <= 80
    assert {p.name for p in out.iterdir()} == {
        "sheet.txt", "measured.toml", "measure.json", "step-x.gcode", "step-y.gcode", "square.gcode"
    }  # fmt: skip
    found = json.loads((out / "measure.json").read_text())
    assert [m["use"] for m in found["moves"]] == ["fit", "fit", "check"]
    assert all(set(one) == {"kind", "name", "tool", "minutes", "how", "leaves"} for one in found["measure"])
    empty = beltspring("fit", "desk-corexy", "--measured", out / "measured.toml")
    assert empty.code == 2
    assert "nothing was measured" in empty.err

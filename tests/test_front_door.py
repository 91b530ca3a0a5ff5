"""The front door of the engine: which names it has, that it is quick, and that a day's work can be done through it."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import beltspring.sim as door
import pytest

SOURCE = Path(__file__).parents[1] / "sim" / "__init__.py"

ASKED = [
    "shipped", "load", "with_variant", "with_changes", "completed_toml", "catalogue", "modes", "check",
    "order", "prepare", "run", "designs", "compare", "limits", "spread", "improve", "fit", "search",
    "measuring_sheet",
]  # fmt: skip
ANSWERS = [
    "Scenario", "Design", "Prepared", "Report", "Trace", "Ending", "Findings", "Order", "OverReach", "Comparison",
    "Limits", "Fitted", "MeasuringSheet",
]  # fmt: skip
ERRORS = ["BeltspringError", "InputError", "RunError"]
#: What answers are made of; `viz` names them, a script seldom does.
PIECES = [
    "LOW_STOP_DEG", "LOW_WARN_DEG", "lowest_arm", "softest_directions",
    "ArmTravel", "Bars", "BeltReport", "Buzz", "Criteria", "Finding", "Held", "Judged", "Level", "Limit", "Line", "Mode",
    "MotorReport", "Origin", "Pair", "Place", "Push", "PushBench", "Ringing", "RippleMap", "Rows", "Rung", "Spread",
    "Spreading", "Trial", "Wall", "Way", "WorstPlace", "bands_by_key", "build_model", "catalogue_rows", "held", "name_of",
    "printable", "reason_of", "spread_comparison",
    "ALONG_LINE", "DEVIATION", "OFF_LINE", "RINGS_BY", "corner_name", "SEEN_M", "TORQUE_SHARE",
    "build_machine", "Improved", "Improvement", "gain_words", "improvement_sentences", "Prices", "load_prices",
    "Envelope", "NamedPeak", "Ringdown", "envelope", "ringdown_at",
    "SearchGoals", "SearchHands", "SearchSofar", "SearchStore", "Searched", "SearchedDesign", "SEARCH_ANSWERS",
    "SEARCH_CALLED", "answer_words",
    "level_words", "search_sentences", "search_wanted", "step_words",
    "DesignRow", "Headline", "headline", "rows_of", "troubles_of",
    "USUAL_SPACE_MM", "starter", "sets", "KeyFact", "key_fact", "key_facts", "comma_words", "Effect", "effect", "physics",
    "price_form", "Building", "Piece", "building", "Spent", "spent",
    "read_measured", "measured_words", "FitCurves", "FitRecord", "fit_headline", "fit_report", "apart_words",
    "learned_words", "number_words", "unit_words", "CAUTIONS", "leaves_words", "limits_words", "measured_form", "program_text",
    "sheet_text",
]  # fmt: skip


def test_the_names_are_these_and_no_others():
    assert [*ASKED, *ANSWERS, *ERRORS, *PIECES] == door.__all__
    assert len(ASKED) + len(ANSWERS) + len(ERRORS) <= 36, (
        "a door, not a wall"
    )  # a command that is built adds its name and its answer
    assert set(door.__all__) <= set(dir(door))
    for name in door.__all__:
        assert getattr(door, name).__doc__, name


def test_what_is_read_by_type_checkers_is_what_is_loaded():
    (block,) = (n for n in ast.parse(SOURCE.read_text(encoding="utf-8")).body if isinstance(n, ast.If))
    written = {
        alias.asname: (node.module, alias.name)
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    assert written == door._WHERE
    assert set(written) == set(door.__all__)


def test_a_name_that_is_not_there_is_told_as_everywhere():
    with pytest.raises(AttributeError, match="has no attribute 'simulate_everything'"):
        _ = door.simulate_everything


def in_child(code: str) -> str:
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_opening_it_loads_nothing():
    code = "import sys, beltspring.sim; print([m for m in sys.modules if m.startswith(('beltspring.sim.', 'numpy'))])"
    assert in_child(code) == "[]"


def test_an_error_is_loaded_without_the_rest():
    code = (
        "import sys; from beltspring.sim import InputError, printable; "
        "print([m for m in ('numpy', 'numba', 'scipy', 'pydantic') if m in sys.modules])"
    )
    assert in_child(code) == "[]"


@pytest.mark.parametrize("name", ["check", "order"])
def test_a_room_of_the_same_name_does_not_cover_a_function(name):
    # Whichever is imported first: a module would not be callable.
    for first in (f"import beltspring.sim.{name}.{name}", f"from beltspring.sim import {name}"):
        code = (
            f"{first}; import beltspring.sim.{name}; from beltspring.sim import {name} as it; import beltspring.sim as door; "
            f"from beltspring.sim.{name}.{name} import {name} as inner; print(it is inner is door.{name}, callable(it))"
        )
        assert in_child(code) == "True True"


def test_a_day_at_the_bench():
    small = ["detail=simple", "move.pattern=step", "move.size_mm=20", "move.repeats=1", "move.settle_ms=200"]
    scenario = door.load("desk-corexy", small)
    report = door.run(scenario)
    assert report.trace.ending is door.Ending.COMPLETE
    assert report.trace.ending.next_step == ""
    assert report.sentences[: len(report.analysis.sentences)] == report.analysis.sentences
    assert report.findings is report.findings
    assert [f.words for f in report.findings.findings] == [f.words for f in door.check(scenario).findings]
    assert door.load("desk-corexy", small).detail == "simple"
    assert door.order(report.machine, "example").price > 0
    assert len(door.modes(scenario).places) == 5
    both = door.designs(scenario, ["belts.pretension_n=10,30"])
    told = door.compare([d.label for d in both], [door.run(d.scenario) for d in both])
    assert "belts.pretension_n" in " ".join(told.sentences)


def test_a_variant_is_loaded_as_it_is_laid():
    variant = next(s for s in door.shipped() if s.variants)
    name = variant.variants[0]
    at_once = door.load(variant.name, ["move.settle_ms=123"], name)
    step_by_step = door.with_changes(door.with_variant(door.load(variant.name), name), {"move.settle_ms": 123})
    assert at_once.tree == step_by_step.tree
    assert at_once.variant == name

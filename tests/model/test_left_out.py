"""What the simple model leaves out is told of the machine that is run, and of nothing else."""

import pytest
from beltspring.sim.chain.chain import simulate_scenario
from beltspring.sim.machine.build import build_machine
from beltspring.sim.model.left_out import left_out, left_out_words
from beltspring.sim.study.choosing import varied
from beltspring.sim.study.compare import compare
from beltspring.sim.study.report import run

from tests.support import shipped, textbook

RIGID = {f"{part}.guide": "rigid" for part in ("carriage", "gantry", "bed")}


@pytest.mark.parametrize(
    ("name", "changes", "parts"),
    [
        ("desk-corexy", {}, ("bending rods", "rubber feet", "frame twist")),
        ("desk-corexy", {"feet.part": "feet-hard"}, ("bending rods", "hard feet", "frame twist")),
        ("desk-corexy", {"frame.part": "rigid", "feet.part": "rigid"}, ("bending rods",)),
        ("desk-corexy", {**RIGID, "frame.part": "rigid", "feet.part": "rigid"}, ()),
        ("moving-bed-wheels", {}, ("soft wheels", "rubber feet", "frame twist")),
        ("large-corexy", {}, ("bending rods", "tilting rails", "hard feet", "frame twist")),
        ("spring-mass", {}, ()),
    ],
)
def test_only_what_the_file_has(name, changes, parts):
    assert left_out(build_machine(textbook(name, changes))) == parts
    assert left_out(build_machine(shipped(name, {**changes, "detail": "full"}))) == ()


def test_a_run_says_it_last_in_one_line_of_eighty():
    words = "Detail simple leaves out bending rods, rubber feet and frame twist."
    assert simulate_scenario(textbook("desk-corexy")).analysis.sentences[-1] == words
    assert len(words) <= 80
    assert not [s for s in simulate_scenario(shipped("desk-corexy")).analysis.sentences if "leaves out" in s]


def test_a_comparison_says_it_once_and_of_the_design_it_holds_for():
    def told(scenario, vary):
        designs = varied(scenario, [vary])
        reports = [run(d.scenario) for d in designs]
        return [s for s in compare([d.label for d in designs], reports).sentences if "leaves out" in s]

    assert told(textbook("desk-corexy"), "belts.pretension_n=15,20") == [
        left_out_words(build_machine(textbook("desk-corexy")))
    ]
    (one,) = told(shipped("desk-corexy"), "detail=simple,full")
    assert one.startswith("simple: Detail simple leaves out ")

"""Which part rings, in words; and what is refused because the simple model does not have it."""

from __future__ import annotations

import math

import pytest
from beltspring.sim.chain.chain import Outcome, simulate_scenario
from beltspring.sim.chain.heard import sounding
from beltspring.sim.errors import ScenarioError
from beltspring.sim.model.modes import modes
from beltspring.sim.study.choosing import variants_of, varied
from beltspring.sim.study.compare import compare
from beltspring.sim.study.report import run

from tests.support import bare, shipped, textbook

#: All joints rigid but one, so that only one part can ring low: which, and what it must be called.
STIFF = {
    "detail": "full",
    "frame.part": "rigid",
    "feet.part": "rigid",
    "carriage.guide": "rail-15",
    "gantry.guide": "rail-15",
    "carriage.friction_n": 0,
    "gantry.friction_n": 0,
    "belts.part": "belt-2mm-12-steel",
    "belts.pretension_n": 100,
    "motors.part": "ideal",
}


@pytest.mark.parametrize(
    ("soft", "named"),
    [
        ({"feet.part": "feet-rubber", "feet.stiffness_sideways_n_per_mm": 5}, "feet"),
        ({"frame.part": "slot-2020"}, "corners"),
        ({"belts.ea_n": 3000, "carriage.mass_g": 2000}, "belts"),
    ],
    ids=["feet", "frame", "belts"],
)
def test_the_one_soft_part_is_named(soft, named):
    outcome = simulate_scenario(shipped("desk-corexy-slot", STIFF | soft))
    found = sounding(outcome)
    assert found is not None
    assert found.mode is not None
    # The stiff belts, at 184 Hz, make the peak of the machine on soft feet; the feet swing 1 um, at the lowest mode.
    heard = modes(outcome.system, outcome.middle)[0] if named == "feet" else found.mode
    assert named in heard.words
    assert named in heard.holds[0].what
    assert sum(hold.share for hold in heard.holds) == pytest.approx(1.0, abs=0.05)
    told = f"{found.mode.holds[0].what} ({100 * found.mode.holds[0].share:.0f} %)"
    assert found.words.startswith(f"{found.ringing.axis.upper()} rings at {found.frequency_hz:.3g} Hz: {told}")
    # Every run says it, in the same words.
    assert told in outcome.analysis.sentences[0]


def test_belts_alone_sound_at_their_closed_form():
    # One mass on two strands of a belt with ideal motors, k = EA (1/a + 1/b), springs side by side (any text on mechanics):
    # f = sqrt(k / m) / 2 pi with k read from the lengths of the runs the program reports.
    outcome = simulate_scenario(bare("moving-bed", {"belts.damping": 0.02, "move.settle_ms": 600}))
    found = sounding(outcome)
    assert found is not None
    assert found.ringing.axis == "x"
    lengths = [run.length_m for run in outcome.system.runs if run.belt == "x"]
    end = outcome.trace.commanded[-1, 0] - outcome.system.middle[0]
    k = 18000 * sum(1 / (length + sign * end) for length, sign in zip(lengths, _growing(outcome), strict=True))
    mass = 0.5  # kg, written in the file; belts and idlers weigh nothing
    assert found.frequency_hz == pytest.approx(math.sqrt(k / mass) / (2 * math.pi), rel=0.01)
    assert found.mode is not None
    assert found.mode.frequency_hz == pytest.approx(found.frequency_hz, rel=0.01)


def _growing(outcome: Outcome) -> list[int]:
    """+1 for a run of belt x that grows as the tool goes right, -1 for one that shrinks."""
    travel = outcome.system.travel[:, 0]
    return [1 if run.length_row @ travel > 0 else -1 for run in outcome.system.runs if run.belt == "x"]


def test_a_comparison_says_which_part_rings():
    plain = shipped("desk-corexy-slot", {"move.settle_ms": 400})
    soft, hard = varied(plain, ["feet.part=feet-rubber,feet-hard"])
    said = compare([soft.label, hard.label], [run(d.scenario) for d in (soft, hard)]).sentences
    assert any(s.startswith("feet-rubber: ") and "the whole machine on its feet (" in s for s in said)
    assert any(s.startswith("feet-hard: ") and "the frame on its corners (" in s for s in said)


@pytest.mark.parametrize(
    "text",
    ["feet.part=feet-rubber,feet-hard", "carriage.stiffness_n_per_mm=100,200", "feet.count=3,4",
     "carriage.nozzle_below_guide_mm=40,60"],
)  # fmt: skip
def test_what_the_simple_model_lacks_is_not_compared(text):
    with pytest.raises(ScenarioError, match='use detail = "full"') as problem:
        varied(textbook("desk-corexy"), [text])
    assert text.split("=")[0] in str(problem.value)
    assert len(varied(shipped("desk-corexy"), [text])) == 2


def test_detail_itself_may_be_compared():
    assert len(varied(shipped("desk-corexy"), ["detail=simple,full"])) == 2


def test_variants_of_what_the_simple_model_lacks_are_refused():
    with pytest.raises(ScenarioError, match=r'variant "hard feet": feet.part does nothing at detail = "simple"'):
        variants_of(textbook("desk-corexy-slot"))

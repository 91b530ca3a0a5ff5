"""The ways to swing as they are told: shares that add up, a tenth stiffer against solving anew, titles that name who moves."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim import load, run
from beltspring.sim.model.build import build_model
from beltspring.sim.model.modes import modes
from beltspring.sim.study.ways import LISTED, stiffer_hz


@pytest.fixture(scope="module")
def report():
    return run(load("desk-corexy"))


def test_every_mode_is_a_way_and_shares_add_up(report):
    assert [w.mode.frequency_hz for w in report.ways] == [m.frequency_hz for m in report.outcome.modes]
    for way in report.ways:
        for shares in (way.holds, way.moves):
            total = sum(s.share for s in shares)
            assert 1.0 - LISTED * 12 < total < 1.0 + 1e-3  # belts couple parts by a little
            assert [s.share for s in shares] == sorted((s.share for s in shares), reverse=True)


def test_a_twist_moves_the_tool_as_the_mode_says(report):
    """The tool's share is taken from rows of its own; the twist of its body has to lead to the same."""
    machine = report.machine
    for way in report.ways:
        ends = []
        for name in (machine.tool_body, machine.work_body):
            lever = np.subtract(machine.tool_point, machine.body(name).centre)
            ends.append(way.twist[name][:3] + np.cross(way.twist[name][3:], lever))
        assert np.allclose((ends[0] - ends[1])[:2], way.mode.tool_share, atol=1e-6 + 1e-6 * np.abs(ends[0]).max())


def test_a_tenth_stiffer_belts_swing_as_told():
    """Against the eigenvalues of the machine with such belts (numpy's solver), to a quarter per cent."""
    system = build_model(load_machine())
    stiffer = build_model(load_machine(["belts.ea_n=13200"]))
    before, after = modes(system), modes(stiffer)
    told = 0
    for mode in before:
        share = sum(h.share for h in mode.holds if h.what == "the belts")
        alike = max(after, key=lambda m: abs(float(m.shape @ system.mass @ mode.shape)))
        if share > 0.2 and abs(float(alike.shape @ system.mass @ mode.shape)) > 0.97:
            told += 1
            assert alike.frequency_hz == pytest.approx(stiffer_hz(mode.frequency_hz, share), rel=2.5e-3)
            assert alike.frequency_hz > 1.004 * mode.frequency_hz
    assert told >= 2


def load_machine(changes=()):
    from beltspring.sim import build_machine

    # Without damping in the belts, which the solver counts in.
    return build_machine(load("desk-corexy", ["belts.ea_n=12000", "belts.damping=0", *changes]))


def test_the_title_names_who_moves_and_sentences_what_decides(report):
    titles = {w.title for w in report.ways}
    assert "Whole machine rocks about Y on its feet" in titles
    assert all(t[0].isupper() for t in titles)
    belts = next(w for w in report.ways if w.holds[0].name == "the belts")
    assert "the belts" in belts.helps
    assert "belts will not" not in belts.will_not
    rods = next(w for w in report.ways if w.mode.words == "carriage rocks about X on its rods")
    assert rods.named == ("carriage",)
    assert rods.will_not.startswith("Stiffer belts will not help")


def test_of_arms_too():
    ways = run(load("small-delta")).ways
    # On rubber feet the whole machine is slower than what the belts and arms hold.
    assert ways[0].title.startswith("Whole machine rocks")
    carried = [way for way in ways if way.title.startswith("Effector in")]
    assert {way.towards for way in carried} == {"x", "y"}
    assert all(way.named == ("effector",) for way in carried)

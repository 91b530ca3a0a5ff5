"""Recovery: machines of the desk kind, drawn within their bands, are found again from what cheap instruments read on them.

A sample of it; the whole counts come from `python -m tests.study.fit.campaign`. The truth is simulated, since no measured
belt machine was found: what is checked here is that the search finds what there is, and says how sure it is.
"""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim import load
from beltspring.sim.errors import InputError
from beltspring.sim.model.build import build_model
from beltspring.sim.scenario.bands import may_have_band
from beltspring.sim.scenario.index import key_at
from beltspring.sim.scenario.load import with_changes
from beltspring.sim.scenario.source import shipped_scenarios
from beltspring.sim.study.fit.bench import build
from beltspring.sim.study.fit.found import fit
from beltspring.sim.study.fit.knobs import free_numbers, written
from beltspring.sim.study.fit.measured import Measured, Pitch, Push, Ripples, Weighed
from beltspring.sim.study.fit.problem import correlation_time
from beltspring.sim.study.fit.words import learned_words, report

from tests.built import built_like, pitch_of
from tests.study.fit.campaign import BELTS, FRICTION, X, Y, judged, measured_on

SIMPLE = ["detail=simple"]


def desk(*changes):
    return load("desk-corexy", [*SIMPLE, *changes])


def test_a_machine_is_found_from_two_steps_and_all_is_said_of_it(tmp_path):
    # One machine fitted to two steps, a square held out: one test, so that workers beside each other do not fit it twice.
    machine = built_like(desk(), 5)
    found = fit(desk(), measured_on(machine, 5))
    row = judged(machine, found, desk(), 5, 0.0)
    is_near(found, row)
    says_how_sure_it_is(found, row)
    has_the_file_of_what_was_found(found, tmp_path)
    says_it_in_words(found)


def is_near(found, row):
    assert found.explains
    assert found.checked
    assert found.chi2 < 1.2
    assert row.before > 0.1
    assert row.held_out < 0.05
    for key in (BELTS, X, Y):
        assert abs(row.errors[key]) < 0.04
    for key in FRICTION:
        assert abs(row.errors[key]) < 0.10


def says_how_sure_it_is(found, row):
    assert 0.2 < np.sqrt(np.mean(row.z**2)) < 1.6
    informed = {p.key: p.informed for p in found.parameters}
    assert informed[BELTS]
    assert informed[X]
    assert not informed["belts.pretension_n"]  # records do not see it while belts stay taut
    apart = {frozenset(a.keys) for a in found.apart}
    assert frozenset({X, "frame.top_mass_g"}) in apart  # a frame twice as heavy and twice as stiff sways the same


def has_the_file_of_what_was_found(found, tmp_path):
    path = tmp_path / "fitted.toml"
    path.write_text(found.toml, encoding="utf-8")
    again = load(str(path))
    system = build(again, {}).system
    own = build(found.scenario, {}).system
    assert np.array_equal(system.mass, own.mass)
    assert np.array_equal(system.stiffness, own.stiffness)
    assert [r.ea_n for r in system.runs] == [r.ea_n for r in own.runs]
    for p in found.parameters:
        low, high = dict(again.file.band)[p.key.partition(".")[0]][p.key.partition(".")[2]]
        assert low <= p.after * (1 + 1e-4)
        assert p.after <= high * (1 + 1e-4)
    assert "checked against a record that was held out" in found.toml.splitlines()[0]


def says_it_in_words(found):
    text = report(found)
    assert "The model makes what was measured (3 records)." in text
    assert "square (held out" in text
    belts = next(p for p in found.parameters if p.key == BELTS)
    assert learned_words(belts).startswith("belts.ea_n: 15000 → ")
    assert "(before ± 30 %)" in learned_words(belts)
    assert "cannot be told apart" in text


def test_a_wrong_model_is_refused():
    # Built at full detail, on rubber feet and rods that give; fitted by the textbook model, which has neither.
    machine = built_like(load("desk-corexy", ["detail=full"]), 1)
    measured = measured_on(machine, 1, check=False)
    from beltspring.sim.study.fit import solve

    before, solve.STARTS = solve.STARTS, 1  # more starts change nothing here, and take a minute
    try:
        found = fit(desk(), measured)
    finally:
        solve.STARTS = before
    assert not found.explains
    assert found.chi2 > 5
    assert "this model cannot make the record" in found.refused
    assert "try detail = full" in found.refused


def test_writing_out_what_is_free_changes_no_machine():
    for detail in ("simple", "full"):
        scenario = load("desk-corexy", [f"detail={detail}"])
        free = free_numbers(scenario, Measured("m"))
        told = build(free.scenario, written(free.knobs, [0.0] * len(free.knobs))).system
        from beltspring.sim.machine.build import build_machine

        own = build_model(build_machine(scenario))
        assert told.dof_names == own.dof_names
        assert np.allclose(told.mass, own.mass, rtol=1e-9, atol=1e-15)
        q = own.rest(own.middle)
        assert np.allclose(told.linear_stiffness(q), own.linear_stiffness(q), rtol=1e-9, atol=1e-6)
        assert np.allclose(told.linear_damping(q), own.linear_damping(q), rtol=1e-9, atol=1e-9)


def test_a_ripple_alone_says_what_it_informed_and_what_not():
    ripples = Ripples(0, 0.15, 1.55e-3, 5e-5, {"motion.speed_mm_s": 150.0})
    found = fit(desk(), Measured("m", ripples=(ripples,)))
    assert found.explains
    assert not found.checked
    (number,) = found.numbers
    assert abs(number.after - 1.55) < 0.05 < abs(number.before - 1.55)
    informed = [p.key for p in found.parameters if p.informed]
    assert BELTS not in informed or len(informed) <= 3
    assert "belts.pretension_n" not in informed
    assert "Not informed" in report(found)


def test_a_pitch_tells_the_pretension_by_mersennes_law():
    # f = sqrt(T / m) / 2 L (Mersenne, Harmonie universelle, 1636; any text on acoustics).
    length, mass, tension = 0.25, 7.2e-3, 12.0
    hertz = np.sqrt(tension / mass) / (2 * length)
    pitch = Pitch("a", "left", length, hertz, 0.01 * hertz)
    found = fit(desk(), Measured("m", pitch=(pitch,), weighed=(Weighed("belts.mass_g_m", 7.2, 0.05),)))
    (learned,) = [p for p in found.parameters if p.key == "belts.pretension_n"]
    assert learned.after == pytest.approx(tension, rel=0.01)
    assert learned.informed
    # 1 % of the pitch is 2 % of the tension, with 0.7 % of the mass, and a little of what was known before.
    assert learned.give_or_take / learned.after == pytest.approx(np.hypot(0.02, 0.05 / 7.2), rel=0.1)


def test_two_belts_have_a_pretension_each():
    machine = built_like(desk(), 2)
    low, high = pitch_of(machine, "a", "left", 250) * 0.9, pitch_of(machine, "a", "left", 250) * 1.1
    pitches = tuple(Pitch(b, "left", 0.25, f, 0.01 * f) for b, f in (("a", low), ("b", high)))
    found = fit(desk(), Measured("m", pitch=pitches))
    after = {p.key: p.after for p in found.parameters}
    ratio = after["belts.b.pretension_n"] / after["belts.a.pretension_n"]
    assert ratio == pytest.approx((1.1 / 0.9) ** 2, rel=0.02)
    assert load_again(found).file.belts.model_extra["b"].pretension_n == pytest.approx(
        after["belts.b.pretension_n"], rel=1e-4
    )


def load_again(found):
    import tomllib

    from beltspring.sim.scenario.load import scenario_of

    return scenario_of(tomllib.loads(found.toml))


def test_a_push_is_force_over_the_stiffness_of_springs_in_a_row():
    # A machine in which only the belts and the frame give: two springs in series, by hand.
    scenario = desk("motors.part=ideal", "carriage.guide=rigid", "gantry.guide=rigid")
    system = build(scenario, {}).system
    middle = system.rest(system.middle)
    belts = sum(run.stiffness(middle) * run.row[system.dof_names.index("carriage x")] ** 2 for run in system.runs)
    frame = system.stiffness[system.dof_names.index("frame x")][system.dof_names.index("frame x")]
    gives = 20.0 / belts + 20.0 / frame
    push = Push(0, 20.0, gives, 0.02 * gives)
    found = fit(scenario, Measured("m", push=(push,)))
    (number,) = found.numbers
    assert number.before == pytest.approx(gives * 1e6, rel=1e-9)
    softer = fit(scenario, Measured("m", push=(Push(0, 20.0, 1.2 * gives, 0.01 * gives),)))
    ea = next(p for p in softer.parameters if p.key == BELTS)
    assert ea.after < 0.9 * ea.before
    assert ea.informed


def test_what_nothing_can_be_is_refused():
    found = fit(desk(), Measured("m", push=(Push(0, 20.0, 2e-3, 1e-5),)))
    assert not found.explains
    assert "cannot make push tool x = 2000 um" in found.refused


@pytest.mark.parametrize(
    ("free", "words"),
    [
        (["belts.ea"], "did you mean belts.ea_n?"),
        (["motion.speed_mm_s"], "no number of the machine that can be free"),
        (["carriage.preload_n"], "this machine does not use it at this detail"),
    ],
)
def test_what_cannot_be_free_is_told(free, words):
    with pytest.raises(InputError) as caught:
        fit(desk(), Measured("m", weighed=(Weighed("belts.mass_g_m", 7.2, 0.1),)), free)
    assert words in str(caught.value)


def test_a_written_number_is_free_only_when_asked_for():
    assert "carriage.mass_g" not in {k.key for k in free_numbers(desk(), Measured("m")).knobs}
    assert "carriage.mass_g" in {k.key for k in free_numbers(desk(), Measured("m"), ["carriage.mass_g"]).knobs}
    band = desk("band.carriage.mass_g=[300, 350]")
    (knob,) = [k for k in free_numbers(band, Measured("m")).knobs if k.key == "carriage.mass_g"]
    assert (knob.number.low, knob.number.high) == (300, 350)
    weighed = fit(desk(), Measured("m", weighed=(Weighed("carriage.mass_g", 344.0, 2.0),)))
    (mass,) = [p for p in weighed.parameters if p.key == "carriage.mass_g"]
    assert mass.after == pytest.approx(344.0, rel=1e-3)


def test_knobs_turn_by_the_sigmas_of_their_bands():
    for knob in free_numbers(desk(), Measured("m")).knobs:
        n = knob.number
        assert knob.value(0.0) == n.value
        assert knob.sigmas(knob.turn(n.high)) == pytest.approx(2.0)
        assert knob.sigmas(knob.turn(n.low)) == pytest.approx(-2.0)
        assert knob.value(knob.turn(1.07 * n.value)) == pytest.approx(1.07 * n.value)


def test_correlation_time_is_that_of_an_autoregression():
    # Of x' = r x + noise it is (1 + r) / (1 - r) (any text on time series).
    rng = np.random.default_rng(1)
    for r in (0.0, 0.5, 0.8):
        x = np.zeros((60_000, 1))
        for i in range(1, len(x)):
            x[i] = r * x[i - 1] + rng.normal()
        assert correlation_time(x) == pytest.approx((1 + r) / (1 - r), rel=0.12)


def test_breaking_away_takes_no_less_than_sliding_wherever_a_fit_ends():
    """A wrong model may ask for a ratio below one; what it leaves must still be a scenario."""
    free = free_numbers(desk(), Measured("m"))
    turns = [knob.ends[0] if knob.key.endswith("friction_static_n") else knob.ends[1] for knob in free.knobs]
    ended = written(free.knobs, turns)
    static = [key for key in ended if key.endswith("friction_static_n")]
    assert static
    assert all(ended[key] >= ended[key.replace("friction_static_n", "friction_n")] for key in static)
    with_changes(free.scenario, {key: ended[key] for key in (*static, *(k.replace("_static_n", "_n") for k in static))})


@pytest.mark.parametrize("name", [one.name for one in shipped_scenarios()])
def test_whatever_a_fit_turns_may_have_a_band(name):
    """It is written with the number: an arm's damping had none, and no delta could be fitted."""
    for knob in free_numbers(load(name), Measured("m")).knobs:
        for key in knob.number.keys:
            found = key_at(tuple(key.split(".")))
            assert found is not None
            assert may_have_band(tuple(key.split(".")), found), key

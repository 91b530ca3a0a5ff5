"""A hand that pushes and lets go: against springs worked by hand, the model's own eigenvalues and the motors' torque."""

from __future__ import annotations

import math

import numpy as np
import pytest
from beltspring.sim import PushBench, RunError, build_machine, load
from beltspring.sim.analyse.ringing.decay import Decay
from beltspring.sim.model.build import build_model
from beltspring.sim.model.modes import modes
from beltspring.sim.study.push import Rung, _lag


def bench(name, *changes):
    machine = build_machine(load(name, list(changes)))
    return machine, PushBench(machine)


def test_a_mass_between_two_springs_gives_as_worked_by_hand():
    """Two runs of belt side by side: k = EA (1 / l1 + 1 / l2); any book on statics."""
    machine, push = bench("spring-mass")
    system = build_model(machine)
    runs = [run for run in system.runs if run.belt == "x"]
    k = sum(run.ea_n / run.length_m for run in runs)
    found = push.push(machine.middle, np.array([5.0, 0.0, 0.0]))
    assert found.gives_m[0] == pytest.approx(5.0 / k, rel=2e-3)
    assert found.gives_m[1] == pytest.approx(0.0, abs=1e-12)
    assert found.stiffness_n_m == pytest.approx(k, rel=2e-3)
    change = {run: f - system.runs[0].pretension_n for run, f in found.tension_n.items() if run[0] == "x"}
    assert sum(abs(c) for c in change.values()) == pytest.approx(5.0, rel=1e-2)


def test_let_go_it_swings_as_its_eigenvalues_say():
    """Friction taken away; against numpy's eigenvalues of the same matrices. Where the motors stand, their detent makes them
    stiffer or softer, so that the frequency lies between those of a whole step and of half way to the next."""
    machine, push = bench("desk-corexy", "carriage.friction_n=0", "gantry.friction_n=0")
    rung = push.let_go(machine.middle, push.push(machine.middle, np.array([4.0, 0.0, 0.0])))
    system = build_model(machine)

    def loudest(detent):
        known = modes(system, machine.middle, detent)
        return max((m for m in known if m.frequency_hz < 90.0), key=lambda m: abs(m.tool_share[0]))

    soft, stiff = loudest(-1.0), loudest(1.0)
    assert stiff.frequency_hz < 1.1 * soft.frequency_hz
    assert soft.frequency_hz < rung.decays["x"].frequency_hz < stiff.frequency_hz
    assert rung.decays["x"].damping_ratio == pytest.approx(loudest(0.0).damping_ratio, rel=0.15)
    assert rung.decays["y"] is None


def test_it_starts_where_the_hand_held_it_and_comes_back():
    machine, push = bench("desk-corexy")
    pushed = push.push(machine.middle, np.array([10.0, -6.0, 0.0]))
    rung = push.let_go(machine.middle, pushed)
    assert rung.off_m[0] == pytest.approx(pushed.gives_m, abs=1e-12)
    assert np.abs(rung.off_m[-1]).max() < 0.02 * np.abs(pushed.gives_m).max()
    assert rung.sentence.startswith("X swings 7")
    assert rung.sentence.endswith("ms.")


def test_small_pushes_give_in_proportion():
    machine, push = bench("desk-corexy")
    linear = push.compliance(machine.middle)
    found = push.push(machine.middle, np.array([0.5, 0.3, 0.0]))
    assert found.gives_m[:2] == pytest.approx((linear @ [0.5, 0.3, 0.0])[:2], rel=0.12)


def test_pushed_hard_a_run_hangs_slack():
    machine, push = bench("desk-corexy", "belts.pretension_n=4")
    found = push.push(machine.middle, np.array([14.0, -9.0, 0.0]))
    assert found.slack
    assert all(found.tension_n[run] == 0.0 for run in found.slack)


def test_a_motor_holds_as_much_as_its_torque():
    """Along X both motors of a CoreXY share the force: F = 2 T / r."""
    machine, push = bench("desk-corexy")
    motor = build_model(machine).motors[0]
    most = 2 * (motor.limit_nm - motor.detent_nm) / motor.radius_m
    holds = push.holds_n(machine.middle, np.array([1.0, 0.0, 0.0]))
    assert 0.85 * most < holds < most
    push.push(machine.middle, np.array([holds, 0.0, 0.0]))
    with pytest.raises(RunError, match="loses its step"):
        push.push(machine.middle, np.array([2.5 * most, 0.0, 0.0]))


def test_the_ringing_test_is_told_beside_it():
    from beltspring.sim import run

    report = run(load("desk-corexy"))
    push = PushBench(report.machine)
    rung = push.let_go(report.middle, push.push(report.middle, np.array([10.0, -6.0, 0.0])))
    told = report.analysis.ringing["x"].frequency_hz
    words = rung.beside(report)
    assert math.isfinite(told)
    # The same mode, but slower by 7 %: the hand swings it further.
    assert words == (
        f"The ringing test tells X {told:.3g} times a second: the same swing, of another size and at another place."
    )


def test_a_hand_that_rocks_the_bed_says_so():
    """A move in X leaves a bed that moves in Y alone; the hand stands on it."""
    from beltspring.sim import run

    report = run(load("moving-bed-wheels"))
    push = PushBench(report.machine)
    rung = push.let_go(report.middle, push.push(report.middle, np.array([10.0, 0.0, 0.0])))
    rocks = next(w.mode for w in report.ways if w.mode.words == "bed rocks about Y on its wheels")
    assert rung.decays["x"].frequency_hz == pytest.approx(rocks.frequency_hz, rel=0.02)
    assert report.analysis.ringing["x"].frequency_hz > 1.5 * rocks.frequency_hz
    assert "another swing (carriage in X against belts and motors) than a hand, which pushes the bed too" in (
        rung.beside(report)
    )


def test_calm_is_when_the_slower_axis_has_faded():
    """By hand: 54 ms after 40; an axis that shows nothing, or creeps, is not waited for; one that goes on swinging is."""
    fading = {"x": Decay(77.0, 0.05, 1e-4, fades_s=0.04), "y": Decay(61.0, 0.05, 1e-4, fades_s=0.054)}

    def rung(decays):
        return Rung(np.array([0.0, 0.4]), np.zeros((2, 3)), np.zeros((2, 0)), (), decays)

    assert rung(fading).fades_s == 0.054
    assert rung(fading).sentence == "X swings 77 times a second, Y 61; faded after 54 ms."
    assert rung(fading | {"y": None}).fades_s == 0.04
    assert rung(fading | {"y": Decay(None, None, 1e-4, why="it creeps to rest")}).fades_s == 0.04
    assert rung(fading | {"y": Decay(61.0, 0.05, 1e-4)}).fades_s is None
    assert rung(fading | {"y": Decay(61.0, 0.05, 1e-4)}).sentence.endswith("; not faded after 400 ms.")
    assert rung({"x": None, "y": None}).fades_s is None
    assert rung({"x": None, "y": None}).sentence == "It creeps back and does not swing."


def test_a_push_away_from_the_middle_is_no_harder_on_the_motors():
    """Motors hang behind their own command, wherever that stands: by less than a quarter turn under a gentle hand."""
    machine, push = bench("desk-corexy")
    force = np.array([3.0, 0.0, 0.0])
    middle = push.push(machine.middle, force)
    aside = push.push(machine.middle + np.array([0.031, 0.017, 0.0]), force)
    assert aside.gives_m[0] == pytest.approx(middle.gives_m[0], rel=0.3)
    system = build_model(machine)
    lag = _lag(system, machine.middle, middle.q)
    # Both motors of a CoreXY share the force: T = F r / 2 each, on a sine of so much torque (detent may add a quarter of it).
    for motor, behind in zip(system.motors, lag, strict=True):
        wanted = np.arcsin(1.5 * motor.radius_m / motor.limit_nm)
        assert behind == pytest.approx(wanted, abs=4 * motor.detent_nm / motor.limit_nm)
        assert behind > 0.0

"""Stretches: they cover the plan, say truly what rests, and command both sides of every breakpoint rightly."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from beltspring.sim.plan import build, program
from beltspring.sim.plan.build import MotionPlan, build_plan
from beltspring.sim.plan.sampling import sample_steps
from beltspring.sim.plan.stretches import Stretch
from beltspring.sim.scenario.motion import MotionLimits, MoveSpec, ShaperSpec

from tests.plan.conftest import LIMITS, REACH, PlanProgram
from tests.plan.measure import apart, pieces, state

SHAPERS = {"x": ShaperSpec("zero-vibration", 48.0, 0.05), "y": ShaperSpec("one-hump", 40.0, 0.02)}


def make(name: str, shapers: dict[str, ShaperSpec], jerk: float = 0.0, tolerance: float = 0.0) -> MotionPlan:
    limits = MotionLimits(0.15, 4.0, jerk, 0.005, tolerance)
    return build_plan(limits, shapers, MoveSpec(name, None, 0.06, 1, "x", 0.2), REACH)


PLANS = [
    (name, shapers, jerk, tolerance)
    for name in ("step", "square", "zigzag", "circle", "star", "chirp", "speed-ladder")
    for shapers, jerk, tolerance in (({}, 0.0, 0.0), (SHAPERS, 0.0, 1e-4), (SHAPERS, 100.0, 0.0))
]


@pytest.mark.parametrize(("name", "shapers", "jerk", "tolerance"), PLANS)
@pytest.mark.parametrize("longest_s", [1.0, 0.013])
def test_stretches_cover_the_plan(name: str, shapers: dict, jerk: float, tolerance: float, longest_s: float) -> None:
    plan = make(name, shapers, jerk, tolerance)
    stretches = list(plan.stretches(longest_s))
    assert stretches[0].t0 == 0.0
    assert stretches[-1].t1 == plan.duration_s
    for a, b in itertools.pairwise(stretches):
        assert a.t1 == b.t0
    for w in stretches:
        assert 0.0 < w.t1 - w.t0 <= longest_s + 1e-12
        assert (np.diff(w.breakpoints) > 0).all()
        assert ((w.breakpoints > w.t0) & (w.breakpoints < w.t1)).all()
    assert stretches[0].commanded(np.array([0.0]))[0] == pytest.approx(plan.start, abs=1e-15)
    assert stretches[-1].resting == (True, True, True)


@pytest.mark.parametrize(("name", "shapers", "jerk", "tolerance"), PLANS)
def test_resting_is_true_and_complete(name: str, shapers: dict, jerk: float, tolerance: float) -> None:
    plan = make(name, shapers, jerk, tolerance)
    for w in plan.stretches():
        t = np.linspace(w.t0, w.t1, 300)
        at = w.commanded(t)
        still = np.ptp(at, axis=0) < 1e-12
        for d in range(3):
            if w.resting[d]:
                assert still[d]
            else:
                assert not still[d] or w.t1 - w.t0 < 2 * build.LEAST_REST_S


@pytest.mark.parametrize(("name", "shapers", "jerk", "tolerance"), PLANS)
def test_commands_agree_with_records_and_integrate(name: str, shapers: dict, jerk: float, tolerance: float) -> None:
    """The compiled loop against numpy's; velocities integrate to positions, by Simpson's rule, exact on cubics."""
    plan = make(name, shapers, jerk, tolerance)
    # A step is served by the piece its middle lies in. Changes of jerk are no breakpoints, so at its ends it may be off
    # by that change over half the step, of at most 1 s / 1500: 2 x 100 m/s3 (0.33 ms)^3 / 6.
    same = 1e-12 if not jerk else 2e-9
    last = None
    for w in plan.stretches():
        edges = np.unique(np.concatenate([[w.t0], w.breakpoints, [w.t1], np.linspace(w.t0, w.t1, 1500)]))
        edges = edges[np.append(True, np.diff(edges) > 1e-9)]
        position, velocity = w.command(edges[:-1], edges[1:])
        assert apart(position[:, 0], w.commanded(edges[:-1])) <= same
        assert apart(position[:, 1], w.commanded(0.5 * (edges[:-1] + edges[1:]))) <= same
        assert apart(position[1:, 0], position[:-1, 2]) <= same
        if last is not None:
            assert apart(position[0, 0], last) <= same
        last = position[-1, 2]
        h = np.diff(edges)[:, None]
        moved = h / 6.0 * (velocity[:, 0] + 4.0 * velocity[:, 1] + velocity[:, 2])
        # Curved parts and chirps are no cubics: Simpson leaves h^5/2880 of the fourth derivative of velocity.
        bound = same if name not in ("circle", "chirp") and not tolerance else 1e-9
        assert apart(position[:, 0] + moved, position[:, 2]) <= bound


@pytest.mark.parametrize("shapers", [{}, SHAPERS])
def test_velocity_takes_the_limit_from_its_own_side(shapers: dict) -> None:
    """At corners velocity jumps: the step before ends with the old one, the step after begins with the new."""
    plan = make("square", shapers)
    jumps = 0
    for w in plan.stretches():
        for b in w.breakpoints:
            h = 1e-7
            _, v = w.command(np.array([b - h, b]), np.array([b, b + h]))
            # Within a step the velocity changes by no more than the acceleration limit allows.
            assert np.abs(v[0, 2] - v[0, 0]).max() <= 4.0 * h * 1.001 + 1e-12
            assert np.abs(v[1, 2] - v[1, 0]).max() <= 4.0 * h * 1.001 + 1e-12
            jumps += bool(np.abs(v[1, 0] - v[0, 2]).max() > 1e-4)
    assert jumps >= (0 if not shapers else 3)


@pytest.mark.parametrize("kind", ["zero-vibration", "zero-slope", "zero-curvature", "one-hump", "two-hump"])
def test_shaping_is_the_sum_of_delayed_copies(kind: str) -> None:
    shaped, plain = make("zigzag", {"x": ShaperSpec(kind, 30.0, 0.03)}, 100.0), make("zigzag", {}, 100.0)
    t = np.linspace(0.0, shaped.duration_s - 1e-9, 777)

    def path(plan: MotionPlan, at: np.ndarray) -> np.ndarray:
        out = np.tile(plan.start, (len(at), 1))
        for w in plan.stretches():
            mine = (at >= w.t0) & (at < w.t1)
            out[mine] = w.commanded(at[mine])
        out[at >= plan.duration_s] = w.commanded(np.array([plan.duration_s]))[0]
        return out

    found = path(shaped, t)
    for d in range(3):
        impulses = shaped.shaping.by_axis[d]
        expected = sum(
            weight * path(plain, t - late)[:, d]
            for late, weight in zip(impulses.times_s, impulses.weights, strict=True)
        )
        assert found[:, d] == pytest.approx(expected, abs=1e-12)
        assert impulses.delay_s == pytest.approx(shaped.shaping.delay_s)
    assert shaped.move_s == pytest.approx(plain.move_s + max(shaped.shaper_delay_s))


def test_axes_lag_alike_so_that_slanted_lines_stay_straight() -> None:
    limits = MotionLimits(0.15, 4.0, 0.0, 0.005, 0.0)
    plan = build_plan(limits, SHAPERS, MoveSpec("step", None, 0.06, 1, "xy", 0.1), REACH)
    leg = plan.legs[0]
    for w in plan.stretches():
        t = np.linspace(w.t0, w.t1, 200)
        even = (t > leg.cruise_from_s + max(plan.shaper_delay_s)) & (t < leg.cruise_to_s)
        x, y = w.commanded(t[even])[:, :2].T
        assert x - plan.start[0] == pytest.approx(y - plan.start[1], abs=1e-12)


def test_asked_path_keeps_the_corner_that_blending_rounds() -> None:
    plan = make("square", {}, 0.0, 1e-3)
    nearest = {"asked": np.inf, "commanded": np.inf}
    corner = np.array(plan.legs[0].end)
    for w in plan.stretches():
        t = np.linspace(w.t0, w.t1, 4000)
        nearest["asked"] = min(nearest["asked"], np.linalg.norm(w.asked(t) - corner, axis=1).min())
        nearest["commanded"] = min(nearest["commanded"], np.linalg.norm(w.commanded(t) - corner, axis=1).min())
    assert nearest["asked"] < 20e-6
    assert nearest["commanded"] == pytest.approx(1e-3, rel=1e-3)


def test_the_loop_is_the_same_compiled_and_not() -> None:
    plan = make("star", SHAPERS, 0.0, 1e-4)
    for w in itertools.islice(plan.stretches(0.05), 5):
        edges = np.linspace(w.t0, w.t1, 40)
        compiled = w.command(edges[:-1], edges[1:])
        plain = np.zeros((39, 3, 3)), np.zeros((39, 3, 3))
        s = w.shaping
        getattr(sample_steps, "py_func", sample_steps)(
            0.5 * (edges[:-1] + edges[1:]), 0.5 * np.diff(edges), w.start_s, w.segment, w.motion,
            w.segments.kind, w.segments.geo, s.times_s, s.weight, s.impulses, s.axes, *plain,
        )  # fmt: skip
        for a, b in zip(compiled, plain, strict=True):
            assert apart(a, b) <= 1e-14


def test_the_same_plan_twice_has_the_same_bits() -> None:
    a, b = make("star", SHAPERS, 100.0), make("star", SHAPERS, 100.0)
    for u, v in zip(a.stretches(), b.stretches(), strict=True):
        t = np.linspace(u.t0, u.t1, 50)
        assert np.array_equal(u.command(t[:-1], t[1:]), v.command(t[:-1], t[1:]))
        assert np.array_equal(u.breakpoints, v.breakpoints)


def test_breakpoints_are_where_acceleration_jumps() -> None:
    """A trapezoid of one step has four corners in its speed: two inside the motion, one at either end of it."""
    plan = build_plan(LIMITS, {}, MoveSpec("step", None, 0.06, 1, "x", 0.2), REACH)
    moving, rest = plan.stretches()
    ramp = 0.15 / 4.0
    assert moving.breakpoints == pytest.approx([ramp, plan.move_s - ramp])
    assert (moving.t1, len(rest.breakpoints)) == (plan.move_s, 0)
    shaped = build_plan(
        LIMITS, {"x": ShaperSpec("zero-vibration", 50.0, 0.0)}, MoveSpec("step", None, 0.06, 1, "x", 0.2), REACH
    )
    first = next(iter(shaped.stretches()))
    assert first.t1 == pytest.approx(plan.move_s + 0.01)
    corners = [0.0, ramp, plan.move_s - ramp, plan.move_s]
    expected = sorted([*corners[1:], *[c + 0.01 for c in corners[:-1]]])
    assert first.breakpoints == pytest.approx(expected)


def test_a_program_is_read_again_for_its_stretches(planned: PlanProgram, monkeypatch: pytest.MonkeyPatch) -> None:
    """A plan that is too large to keep gives the same stretches as one that is kept."""
    text = "G1 F6000\n" + "".join(f"X{20 + 10 * (k % 2)} Y{0.5 * k}\n" for k in range(120))
    kept = planned(text)
    monkeypatch.setattr(build, "MOST_KEPT_PIECES", 10)
    again = planned(text)
    for _ in range(2):
        for u, v in zip(kept.stretches(), again.stretches(), strict=True):
            assert (u.t0, u.t1, u.resting) == (v.t0, v.t1, v.resting)
            assert np.array_equal(u.breakpoints, v.breakpoints)


def test_pieces_and_stretches_say_the_same(planned: PlanProgram) -> None:
    plan = planned("G1 F6000 X20 Y5\nG3 X40 Y25 R20\nG4 P0.1\nG2 X40 Y25 I-5 Z3\nG1 X60\nG1 Z0\n")
    stretches: list[Stretch] = list(plan.stretches())
    for block, m, duration in pieces(plan):
        t = block.pieces.start_s[m] + 0.5 * duration
        w = next(w for w in stretches if w.t0 <= t <= w.t1)
        assert w.commanded(np.array([t]))[0] == pytest.approx(state(block, m, 0.5 * duration)[0], abs=1e-12)


def test_a_program_may_be_read_by_two_at_once(planned: PlanProgram, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(build, "MOST_KEPT_PIECES", 10)
    monkeypatch.setattr(program, "CHUNK_BYTES", 300)
    plan = planned("G91 G1 F6000\n" + "X1 Y1\nX-0.5 Y1\n" * 60)
    for u, v in zip(plan.stretches(), plan.stretches(), strict=True):
        assert (u.t0, u.t1, u.resting) == (v.t0, v.t1, v.resting)
        assert np.array_equal(u.breakpoints, v.breakpoints)

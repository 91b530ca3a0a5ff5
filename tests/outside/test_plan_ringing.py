"""What planned motions leave ringing in one mass on a spring, against the shock-response formulas.

The base of a spring-mass oscillator makes the planned motion; scipy's DOP853 finds what is left of its relative
displacement. Formulas: shock spectra of acceleration ramps (Thomson, Meirovitch, Rao; from memory, checked by
integration), with sinc x = sin(pi x) / (pi x):

    step of velocity dv: dv / w.   Ramp of constant acceleration over T: (dv / w) |sinc(f T)|.
    Jerk-limited ramp, rectangles T_r = dv / a and T_j = a / j: (dv / w) |sinc(f T_r)| |sinc(f T_j)|.
    Damped ramp, at its end: a / (w^2 sqrt(1 - z^2)) sqrt(1 - 2 exp(-z w T) cos(w_d T) + exp(-2 z w T)).
    Whole trapezoid without damping: that of one ramp times 2 |sin(w (T_move - T_a) / 2)|.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from beltspring.sim.plan.build import MotionPlan, build_plan
from beltspring.sim.plan.shapers import residual
from beltspring.sim.scenario.motion import MotionLimits, MoveSpec, ShaperSpec
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicHermiteSpline

Array = NDArray[np.float64]
REACH = ((0.0, 0.6), (0.0, 0.6), (0.0, 0.2))
F = 40.0
W = 2.0 * math.pi * F


def command(plan: MotionPlan) -> list[tuple[float, float, CubicHermiteSpline]]:
    """Commanded X between breakpoints and changes of jerk. Third-order Hermite splines are exact on the plan's cubics."""
    out = []
    for w in plan.stretches():
        late = [t for axis in w.shaping.by_axis for t in axis.times_s]
        changes = np.add.outer(w.start_s, late).ravel()
        inside = changes[(changes > w.t0 + 1e-9) & (changes < w.t1 - 1e-9)]
        for t0, t1 in itertools.pairwise(np.unique([w.t0, *w.breakpoints, *inside, w.t1]).tolist()):
            t = np.linspace(t0, t1, 65)
            x, v = w.command(t[:-1], t[1:])
            out.append((t0, t1, CubicHermiteSpline(t, [*x[:, 0, 0], x[-1, 2, 0]], [*v[:, 0, 0], v[-1, 2, 0]])))
    return out


def amplitude(plan: MotionPlan, until: float, damping: float = 0.0, frequency: float = F, jump: float = 0.0) -> float:
    """Amplitude (envelope) of the relative displacement of a mass, driven by the plan up to a time, m.

    jump: speed the base has before the plan, m/s; the plan's own velocity jumps are taken as they come.
    """
    w = 2.0 * math.pi * frequency
    wd = w * math.sqrt(1.0 - damping**2)
    state = np.array([0.0, 0.0])  # mass position relative to the base, absolute velocity of the mass
    for t0, t1, x in command(plan):
        t1 = min(t1, until)
        if t1 <= t0:
            break
        v = x.derivative()

        def slope(t: float, y: Array, v: CubicHermiteSpline = v) -> list[float]:
            relative = y[1] - float(v(t))
            return [relative, -w * w * y[0] - 2.0 * damping * w * relative]

        made = solve_ivp(slope, (t0, t1), state, method="DOP853", rtol=1e-11, atol=1e-16, max_step=2e-3)
        state = made.y[:, -1]
        last = float(v(t1))
    e, de = state[0], state[1] - last
    return math.hypot(e, (de + damping * w * e) / wd)


def step(dv: float, a: float, j: float = 0.0, distance: float = 0.4, axis: str = "x") -> MotionPlan:
    return build_plan(MotionLimits(dv, a, j, 0.0, 0.0), {}, MoveSpec("step", None, distance, 1, axis, 0.5), REACH)


# Micrometres at 40 Hz, worked from the formulas above.
RAMPS = [
    (0.1, 3.0, 0.0, 0.0, 82.2625),
    (0.1, 3.0, 0.0, 0.05, 68.558),
    (0.1, 8.0, 0.0, 0.0, 253.303),
    (0.1, 4.0, 0.0, 0.0, 0.0),
    (0.1, 3.0, 300.0, 0.0, 62.2585),
    (0.2, 3.0, 0.0, 0.0, 82.2625),
    (0.2, 3.0, 0.0, 0.05, 60.815),
]


@pytest.mark.parametrize(("dv", "a", "j", "damping", "micrometres"), RAMPS)
def test_ramp_leaves_the_published_ringing(dv: float, a: float, j: float, damping: float, micrometres: float) -> None:
    plan = step(dv, a, j)
    ramp_end = plan.legs[0].cruise_from_s
    assert ramp_end == pytest.approx(dv / a + (a / j if j else 0.0), rel=1e-9)
    assert 1e6 * amplitude(plan, ramp_end, damping) == pytest.approx(micrometres, rel=1e-3, abs=0.05)


def test_whole_move_leaves_the_published_ringing() -> None:
    """D = 51.2 mm, v = 0.1 m/s, a = 3 m/s2: 164.200 um."""
    plan = step(0.1, 3.0, distance=0.0512)
    assert 1e6 * amplitude(plan, plan.duration_s) == pytest.approx(164.2, rel=1e-3)


def test_a_corner_taken_at_speed_is_a_step_of_velocity() -> None:
    """Right angle at 0.1 m/s: each axis jumps by 0.1 m/s, which is dv / w = 397.887 um at 40 Hz (562.70 for both)."""
    limits = MotionLimits(0.1, 1e3, 0.0, 0.2, 0.0)  # a ramp of 0.1 ms: sinc(f T) = 1 - 3e-5
    plan = build_plan(limits, {}, MoveSpec("square", None, 0.1, 1, "x", 0.0), REACH)
    corner = plan.legs[0].end_s
    # Up to just before the corner the oscillator in X rings from its start; its amplitude there is that of the ramp.
    assert 1e6 * amplitude(plan, 0.5 * corner) == pytest.approx(397.887, rel=1e-3)
    assert plan.legs[0].cruise_to_s == pytest.approx(corner, abs=1e-9)


@pytest.mark.parametrize("share", [0.7, 0.85, 0.95, 1.0, 1.1, 1.3])
@pytest.mark.parametrize("kind", ["zero-vibration", "zero-slope", "zero-curvature", "one-hump", "two-hump"])
def test_shaped_step_leaves_the_share_the_curve_gives(kind: str, share: float) -> None:
    """Residual over the unshaped one at frequency errors of up to 30 %, within 1 % of full scale."""
    limits, move = MotionLimits(0.1, 3.0, 0.0, 0.0, 0.0), MoveSpec("step", None, 0.0512, 1, "x", 0.1)
    shaped = build_plan(limits, {"x": ShaperSpec(kind, F, 0.0)}, move, REACH)
    plain = build_plan(limits, {}, move, REACH)
    machine = share * F
    reference = amplitude(plain, plain.duration_s, frequency=machine)
    left = amplitude(shaped, shaped.duration_s, frequency=machine) / reference
    assert left == pytest.approx(residual(shaped.shaping.by_axis[0], machine), abs=0.01)
    if share == 1.0 and kind.startswith("zero-vibration"):
        assert left < 0.005
    if kind.startswith("one-hump") and 0.8003 <= share <= 1.1997:
        assert left <= 0.0505

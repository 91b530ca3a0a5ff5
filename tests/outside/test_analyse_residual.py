"""Peak of the ringing left by acceleration ramps, against the shock-response formulas and an independent integrator."""

import itertools
from types import SimpleNamespace

import numpy as np
import pytest
from beltspring.sim.analyse import analyse
from beltspring.sim.plan.plan import Leg
from beltspring.sim.trace import Ending, StretchExtremes, Trace
from scipy.integrate import solve_ivp


class Ramps:
    """A straight move along X of given ramps: speed up, cruise, slow down, then stand still for `settle` seconds."""

    description, shaper_delay_s = "one line", (0.0, 0.0, 0.0)

    def __init__(self, speed, acceleration, distance, settle=0.35):
        self.a, ramp, cruise = acceleration, speed / acceleration, distance / speed - speed / acceleration
        self.times = np.array([0.0, ramp, ramp + cruise, 2 * ramp + cruise])
        self.move_s, self.duration_s = self.times[-1], self.times[-1] + settle
        end = (distance, 0.0, 0.0)
        self.legs = [
            Leg("leg 1", 0.0, self.move_s, self.times[1], self.times[2], (1.0, 0.0, 0.0), speed, (0.0, 0.0, 0.0), end)
        ]
        self.start = np.zeros(3)

    def acceleration(self, t):
        return self.a * np.sum(np.array([1, -1, -1, 1]) * (t >= self.times))

    def asked(self, t):
        signs = np.array([1, -1, -1, 1])
        x = np.sum(0.5 * self.a * signs * np.clip(np.asarray(t)[:, None] - self.times, 0, None) ** 2, axis=1)
        return np.stack((x, 0 * x, 0 * x), axis=1)

    def stretches(self, longest_s=1.0):
        cuts = ((0.0, self.move_s, False), (self.move_s, self.duration_s, True))
        for t0, t1, still in cuts:
            inside = self.times[(self.times > t0) & (self.times < t1)]
            ends = (np.array([t0]), self.asked([t0]))
            yield SimpleNamespace(
                t0=t0,
                t1=t1,
                resting=(still, True, True),
                breakpoints=inside,
                asked=self.asked,
                corners=lambda at=ends: at,
            )


def simulate(plan, frequency, ratio):
    """Relative displacement of a mass on a spring whose base makes the move, by scipy's DOP853, as a trace."""
    w = 2 * np.pi * frequency
    edges = [*plan.times, plan.duration_s]
    state = [0.0, 0.0]
    pieces = []
    for t0, t1 in itertools.pairwise(edges):
        drive = plan.acceleration(0.5 * (t0 + t1))

        def slope(t, y, drive=drive):
            return [y[1], -drive - 2 * ratio * w * y[1] - w * w * y[0]]

        s = solve_ivp(slope, (t0, t1), state, method="DOP853", rtol=1e-11, atol=1e-15, dense_output=True)
        state = s.y[:, -1]
        pieces.append((t0, t1, s.sol))

    def deviation(t):
        out = np.empty(len(t))
        for t0, t1, sol in pieces:
            mine = (t >= t0) & (t <= t1)
            if mine.any():
                out[mine] = sol(t[mine])[0]
        return out

    def tool(t):
        place = plan.asked(t)
        place[:, 0] += deviation(t)
        return place

    t = np.arange(0, plan.duration_s, 1e-3)
    stretches = []
    for stretch in plan.stretches():
        fine = tool(np.linspace(stretch.t0, stretch.t1, 20_001))
        stretches.append(StretchExtremes(stretch.t0, stretch.t1, stretch.resting, fine.min(axis=0), fine.max(axis=0)))
    empty = np.empty((len(t), 0))
    return Trace(
        t_s=t, asked=plan.asked(t), commanded=plan.asked(t), tool=tool(t), motor_rad=empty, motor_nm=empty,
        motor_lag_rad=empty, tension_n=empty, q=empty, speeds=empty, depositing=np.zeros(len(t), bool), motors=(), runs=(),
        dof_names=(), extreme_names=("tool_x", "tool_y", "tool_z"), stretches=stretches, slack_s={}, slips=[],
        ending=Ending.COMPLETE, stopped_at_s=None, planned_s=plan.duration_s, steps=len(t), step_s=1e-3, wall_s=0.01,
    )  # fmt: skip


def test_whole_undamped_move():
    # Full trapezoid, no damping: (2 a / w^2) |sin(w T_a / 2)| 2 |sin(w (T_move - T_a) / 2)|; shock-spectrum chapters of
    # Meirovitch, Rao and Thomson (from memory), re-derived; D = 51.2 mm, 0.1 m/s, 3 m/s2 at 40 Hz: 164.200 um.
    plan = Ramps(0.1, 3.0, 0.0512)
    x = analyse(simulate(plan, 40.0, 0.0), plan).ringing["x"]
    assert x.peak_m == pytest.approx(164.200e-6, rel=1e-3)
    assert x.frequency_hz == pytest.approx(40.0, rel=1e-5)


@pytest.mark.parametrize(
    ("acceleration", "amplitude_um"), [(3.0, 68.558), (8.0, None)], ids=["ramp of 33 ms", "ramp of half a period"]
)
def test_damped_ramp(acceleration, amplitude_um):
    # Envelope at the ramp's end, a / (w^2 sqrt(1 - z^2)) sqrt(1 - 2 e^-zwT cos wd T + e^-2zwT); same chapters, same
    # mark; a = 3 m/s2, 0.1 m/s, z = 0.05 at 40 Hz: 68.558 um. The long cruise lets the first ramp's ringing die.
    w, z, ramp = 2 * np.pi * 40.0, 0.05, 0.1 / acceleration
    wd, fall = w * np.sqrt(1 - z * z), np.exp(-z * w * ramp)
    envelope = acceleration / (w * w * np.sqrt(1 - z * z)) * np.sqrt(1 - 2 * fall * np.cos(wd * ramp) + fall**2)
    if amplitude_um is not None:
        assert envelope * 1e6 == pytest.approx(amplitude_um, abs=5e-4)
    plan = Ramps(0.1, acceleration, 0.1)
    result = analyse(simulate(plan, 40.0, z), plan)
    (ringdown,) = (r for r in result.ringdowns if r.axis == "x")
    assert ringdown.decay.damping_ratio == pytest.approx(z, rel=1e-3)
    # The amplitude told is the mean over three swings that die: between the envelope at their start and at their end.
    assert envelope * np.exp(-3 * 2 * np.pi * z) < ringdown.decay.amplitude_m < envelope
    assert result.ringing["x"].fades_to_5_percent_s == pytest.approx(np.log(20) / (z * w), rel=0.01)
    assert 0.8 * envelope < result.ringing["x"].peak_m <= envelope * 1.002

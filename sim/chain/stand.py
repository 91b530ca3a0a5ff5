"""One trial of a limit: the move at a speed and an acceleration, and by how much it keeps what is asked of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..analyse.ringing import largest_peak
from ..model.motor import torque_limit
from ..model.system import System
from ..plan.axes import AxisLimits
from ..plan.build import build_plan
from ..plan.plan import Plan
from ..scenario.motion import MotionLimits, MoveSpec, ShaperSpec, axis_limits, pattern_choices
from ..simulate.run import run
from ..trace import Trace
from .chain import Prepared, mode_of_axis

Array = NDArray[np.float64]

RINGING_M = 20e-6  # certainly seen on a wall (common practice, no source)
TORQUE_SHARE = 0.7  # a third left for friction, warm windings and what nobody thought of (common practice, no source)


@dataclass(frozen=True)
class Criteria:
    """What a move must keep. ringing_m: height of what rings after a leg.  torque_share: of the torque at that speed."""

    ringing_m: float = RINGING_M
    torque_share: float = TORQUE_SHARE


@dataclass(frozen=True)
class Trial:
    """What came of one value. value: SI.  top_speed_m_s: reached by the commanded move.

    ringing_m: None where no axis stands still after a leg.  torque_share: None with ideal motors.
    used: the larger of ringing and torque as a share of what is allowed.
    lost_steps: full steps off at the end, all motors.  passages: electrical turns that rotors passed, there and back.
    broken: what was not kept, the worst first: "ringing" | "torque" | "slack" | "lost steps" | "run".
    """

    value: float
    ringing_m: float | None
    torque_share: float | None
    least_tension_n: float
    slack_s: float
    lost_steps: int
    passages: int
    top_speed_m_s: float
    used: float
    broken: tuple[str, ...]

    @property
    def holds(self) -> bool:
        """Whether everything was kept."""
        return not self.broken


def rotor_speed(trace: Trace, system: System, motor: int) -> Array:
    """Speed of a rotor relative to its stator at each row, (n,) rad/s; of one that is no ideal motor.

    From the recorded speeds: differences between rows would lose the peaks where a long trace is thinned.
    """
    row = system.motors[motor].row
    assert row is not None
    return np.asarray(trace.meta["speeds"] @ row)


def torque_shares(trace: Trace, system: System) -> dict[str, float]:
    """By motor, the largest share of the torque it has at its speed that it gives in the move; ideal motors left out."""
    out = {}
    for j, motor in enumerate(system.motors):
        if motor.spec is None or len(trace.t_s) < 3:
            continue
        given = np.abs(trace.motor_nm[:, j])
        there = torque_limit(motor.spec, rotor_speed(trace, system, j))
        share = float((given / np.maximum(there, 1e-9)).max())
        # Rows are recorded some time apart; the peak itself is kept from every step.
        peak = trace.largest(f"torque_{motor.name}") or 0.0
        out[motor.name] = share * max(1.0, peak / float(given.max())) if given.max() > 0 else share
    return out


@dataclass(frozen=True)
class Bench:
    """A machine on which moves are tried: its model is built once.

    limits, move, shapers: as the scenario has them, or as the trial changes them.
    """

    ready: Prepared
    limits: MotionLimits
    move: MoveSpec
    shapers: dict[str, ShaperSpec]
    criteria: Criteria
    record_s: float

    def plan(self, limits: MotionLimits) -> Plan:
        """The move under other limits."""
        scenario = self.ready.scenario
        return build_plan(
            limits, self.shapers, self.move, self.ready.machine.reach, auto_frequency=mode_of_axis(self.ready.system),
            choices=pattern_choices(scenario), axes=AxisLimits(*axis_limits(scenario)),
            round_reach=self.ready.machine.reach_round,
        )  # fmt: skip

    def try_out(self, limits: MotionLimits, value: float) -> Trial:
        """One trial; its ringing is what `run` tells."""
        plan = self.plan(limits)
        trace = run(self.ready.system, plan, self.record_s)
        ringing, wanted = largest_peak(trace, plan), self.criteria.ringing_m
        shares = torque_shares(trace, self.ready.system)
        share = max(shares.values(), default=None)
        lost = sum(s.lost_steps for s in trace.slips)
        passages = sum(s.passages for s in trace.slips)
        slack = sum(trace.slack_s.values())
        tensions = [e for n in trace.extreme_names if n.startswith("tension_") and (e := trace.extreme(n)) is not None]
        least = min((low for low, _ in tensions), default=0.0)
        excess = {
            "run": np.inf if trace.stopped_at_s is not None else 0.0,
            "lost steps": np.inf if passages else 0.0,
            "slack": 2.0 if slack > 0 else 0.0,
            "ringing": 0.0 if ringing is None else ringing / wanted,
            "torque": 0.0 if share is None else share / self.criteria.torque_share,
        }
        broken = sorted((name for name, much in excess.items() if much > 1.0), key=lambda name: -excess[name])
        top = max((leg.cruise_speed_m_s for leg in plan.legs), default=0.0)
        used = max(excess["ringing"], excess["torque"])
        return Trial(value, ringing, share, least, slack, lost, passages, top, used, tuple(broken))

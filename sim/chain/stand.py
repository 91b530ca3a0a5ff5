"""One trial of a limit: the move at a speed and an acceleration, and by how much it keeps what is asked of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..practice import SEEN_M, TORQUE_SHARE
from ..scenario.motion import MotionLimits, MoveSpec
from .batch import Feeds, Rig, Sample, rig_of, sample
from .chain import Prepared
from .judged import Judged, judge_ringing
from .motion import Motion, motion_of


@dataclass(frozen=True)
class Criteria:
    """What a move must keep. ringing_m: height of what rings after a leg.  torque_share: of the torque at that speed."""

    ringing_m: float = SEEN_M
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


@dataclass(frozen=True)
class Bench:
    """A machine on which moves are tried: its model is built once, its "auto" shapers are tuned once.

    motion: the move, as the scenario has it or as the trial changes it.
    """

    ready: Prepared
    motion: Motion
    criteria: Criteria

    @cached_property
    def rig(self) -> Rig:
        """The machine as it stands before the move."""
        return rig_of(self.ready, self.motion)

    @property
    def limits(self) -> MotionLimits:
        """Those of the move."""
        return self.motion.limits

    def under(self, limits: MotionLimits) -> Bench:
        """The same with other limits of the move."""
        return replace(self, motion=self.motion.with_limits(limits))

    def judged(self, limits: MotionLimits) -> Judged | None:
        """Judged ringing at speeds around those limits' own."""
        motion = self.motion.with_limits(limits)
        return judge_ringing([replace(self.ready, motion=motion, plan=motion.plan())])[0]

    def try_out(self, limits: MotionLimits, value: float) -> Trial:
        """One trial; its numbers are those of `run`. value: what the trial is filed under."""
        ready = Feeds(every_row=True).of(replace(self.rig, motion=self.motion.with_limits(limits)), 1.0)
        return held_against(sample(self.rig, ready), value, self.criteria)


def bench_of(ready: Prepared, criteria: Criteria, move: MoveSpec | None = None) -> Bench:
    """A prepared scenario as a bench. move: another than its own."""
    motion = ready.motion if move is None else motion_of(ready.scenario, ready.machine, ready.system, move)
    return Bench(ready, motion, criteria)


def held_against(found: Sample, value: float, criteria: Criteria) -> Trial:
    """A run against what it must keep."""
    ringing = None if np.isnan(found.peak_m).all() else float(np.nanmax(found.peak_m))
    shares = found.torque_share[~np.isnan(found.torque_share)]
    share = float(shares.max()) if len(shares) else None
    lost = sum(s.lost_steps for s in found.slips)
    passages = sum(s.passages for s in found.slips)
    least = found.least_tension_n if np.isfinite(found.least_tension_n) else 0.0
    excess = {
        "run": np.inf if found.stopped_s is not None else 0.0,
        "lost steps": np.inf if passages else 0.0,
        "slack": 2.0 if found.slack_s > 0 else 0.0,
        "ringing": 0.0 if ringing is None else ringing / criteria.ringing_m,
        "torque": 0.0 if share is None else share / criteria.torque_share,
    }
    broken = sorted((name for name, much in excess.items() if much > 1.0), key=lambda name: -excess[name])
    used = max(excess["ringing"], excess["torque"])
    return Trial(value, ringing, share, least, found.slack_s, lost, passages, found.top_speed_m_s, used, tuple(broken))

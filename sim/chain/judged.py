"""Judged ringing: how a design rings at thirteen speeds around its own, so that one lucky speed decides nothing.

What a ramp leaves behind is (2 a / w^2) |sin(w T / 2)|, T = v / a: it comes and goes through one period while the speed
changes by a / f. So thirteen speeds over v +- max(0.2 v, a / (2 f)), never under 0.3 v, a the acceleration and f the
frequency of the mode that swings the tool most; told is the root mean square of the largest peak, X or Y, over them.
All designs compared run at the same thirteen shares of their own speed, those of the first. Where most pieces of a move do
not reach their speed, another speed changes nothing, and the move's own corners are the sample.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..analyse.reading import length
from ..analyse.ringing import AXES, SILENT_M, Ringing
from ..model.modes import bare_modes, swing
from ..plan.plan import Plan
from ..scenario.motion import motion_limits
from .batch import Trials, judge
from .chain import Outcome, Prepared
from .motion import middle_of, motion_of

Array = NDArray[np.float64]

SPEEDS = 13
LEAST_SHARE, SLOWEST = 0.2, 0.3
#: A leg that gets within a thousandth of the speed asked for has reached it.
REACHED = 0.999
#: A move that takes longer, a program and a pattern, is not run thirteen times over: it is judged by its corners.
LONGEST_PROGRAM_S, LONGEST_S = 15.0, 60.0
LOW, HIGH = 10.0, 90.0  # percentiles told of corners


@dataclass(frozen=True)
class Paces:
    """At which shares of its speed a design is judged. factors: (k,), rising, 1 alone where corners are the sample.

    speed_m_s: what the first of the designs goes, the base of the factors in words.
    """

    factors: tuple[float, ...]
    speed_m_s: float
    corners: bool = False


@dataclass(frozen=True)
class Judged:
    """A design's judged ringing; lengths in m, speeds in m/s.

    judged_m: root mean square of the largest peak over the speeds, or of the peaks of all corners.  least_m, most_m: the
    smallest and largest of them, of corners the 10th and 90th percentile.  most_at_m_s: the speed of the largest.
    speeds_m_s: lowest and highest of those that count.  These three are None for corners.  counted: how many.
    slipping_m_s: speeds left out because a motor slips there, or because the run did not end; where they are more than
    half, judged_m, least_m and most_m are None.  peaks_m: (k,) at each speed, nan where left out.
    """

    judged_m: float | None
    least_m: float | None
    most_m: float | None
    most_at_m_s: float | None
    speeds_m_s: tuple[float, float] | None
    slipping_m_s: tuple[float, ...]
    counted: int
    peaks_m: Array

    @property
    def by_corners(self) -> bool:
        """Whether the move's own corners are the sample."""
        return self.speeds_m_s is None and self.judged_m is not None


def paces_of(ready: Prepared) -> Paces | None:
    """The shares of its speed at which a design, the first of several, is judged; None for a move without a verdict.

    A chirp has no corners at one speed, and what moves in Z alone rings in neither axis.
    """
    plan, motion = ready.plan, ready.motion
    if not plan.legs or any(leg.sweep_hz is not None for leg in plan.legs):
        return None
    program = motion.move.program is not None
    if plan.move_s > (LONGEST_PROGRAM_S if program else LONGEST_S):
        return Paces((1.0,), motion.limits.speed_m_s, corners=True)
    asked = motion.plan(SLOWEST)
    if _reaching(plan, asked) <= 0.5:
        return Paces((1.0,), motion.limits.speed_m_s, corners=True)
    speed = _usual_speed(plan) if program else motion.limits.speed_m_s
    hertz = loudest_hz(ready)
    half = max(LEAST_SHARE, 0.0 if hertz is None else motion.limits.acceleration_m_s2 / (2 * hertz * speed))
    factors = np.linspace(max(SLOWEST, 1 - half), 1 + half, SPEEDS)
    if 1 - half >= SLOWEST:
        factors[SPEEDS // 2] = 1.0  # the design's own speed, to the bit
    return Paces(tuple(float(f) for f in factors), speed)


def _reaching(plan: Plan, slow: Plan) -> float:
    """Share of a plan's legs that reach the speed asked for. slow: the same move at the pace SLOWEST, where they do."""
    there = {(leg.name, leg.start): leg.cruise_speed_m_s for leg in slow.legs}
    known = [(leg.cruise_speed_m_s, there[key]) for leg in plan.legs if (key := (leg.name, leg.start)) in there]
    reached = [fast >= REACHED * least / SLOWEST for fast, least in known]
    return sum(reached) / len(reached) if reached else 0.0


def _usual_speed(plan: Plan) -> float:
    return float(np.median([leg.cruise_speed_m_s for leg in plan.legs]))


def loudest_hz(ready: Prepared) -> float | None:
    """Frequency of the mode that swings the tool most along an axis that the move moves, in its middle; None: none does."""
    moved = [a for a in range(len(AXES)) if any(abs(leg.end[a] - leg.start[a]) > 1e-9 for leg in ready.plan.legs)]
    known = bare_modes(ready.system, middle_of(ready.plan, ready.machine))
    felt = [(max((swing(ready.system, m, a) for a in moved), default=0.0), m.frequency_hz) for m in known]
    most, hertz = max(felt, default=(0.0, 0.0))
    return hertz if most > 1e-15 else None


def judge_ringing(
    designs: Sequence[Prepared], paces: Paces | None = None, executor: Executor | None = None
) -> list[Judged | None]:
    """The judged ringing of each design. paces: None: those of the first. executor: see `batch.judge`."""
    if not designs:
        return []
    chosen = paces if paces is not None else paces_of(designs[0])
    if chosen is None:
        return [None] * len(designs)
    return [verdict(t, d, chosen) for t, d in zip(judge(designs, chosen.factors, executor), designs, strict=True)]


def verdict(trials: Trials, design: Prepared, paces: Paces) -> Judged | None:
    """What a design's runs at those paces say; None where no axis ever stands still after a leg."""
    if paces.corners:
        return of_corners(trials.samples[0].peaks_m)
    peaks = trials.peak_m
    if np.isnan(peaks).all() and bool(trials.whole.all()):
        return None
    kept = (trials.passages == 0) & trials.whole
    # Shares of each design's own speed; a program's is that of most of its pieces.
    own = design.motion.limits.speed_m_s
    speeds = (paces.speed_m_s if design.motion.move.program is not None else own) * trials.paces
    largest = np.where(kept, np.fmax(peaks[:, 0], peaks[:, 1]), np.nan)
    slipping = tuple(float(v) for v in speeds[~kept])
    if 2 * len(slipping) > len(speeds) or np.isnan(largest).all():
        return Judged(None, None, None, None, None, slipping, int(kept.sum()), largest)
    mean = float(np.sqrt(np.mean(largest[kept] ** 2)))
    at, inside = float(speeds[int(np.nanargmax(largest))]), speeds[kept]
    ends = (float(inside[0]), float(inside[-1]))
    return Judged(
        mean, float(np.nanmin(largest)), float(np.nanmax(largest)), at, ends, slipping, int(kept.sum()), largest
    )


def of_corners(peaks_m: Array) -> Judged | None:
    """The verdict of a move's own corners, (k,) m; None where there are none."""
    known = peaks_m[~np.isnan(peaks_m)]
    if not len(known):
        return None
    low, high = (float(p) for p in np.percentile(known, [LOW, HIGH]))
    return Judged(float(np.sqrt(np.mean(known**2))), low, high, None, None, (), len(known), known)


def judge_outcome(outcome: Outcome, executor: Executor | None = None) -> Judged | None:
    """The judged ringing of a run that has been made, from thirteen more or its own corners; None where it did not end."""
    if outcome.trace.stopped_at_s is not None:
        return None
    if outcome.trace.thinned:
        # Of a long one the largest ring-downs are kept, so that it is judged by its worst pieces.
        return of_corners(np.array([d.peak_m for d in outcome.analysis.ringdowns]))
    return judge_ringing([ready_of(outcome)], executor=executor)[0]


def judge_outcomes(outcomes: Sequence[Outcome], executor: Executor | None = None) -> list[Judged | None]:
    """The judged ringing of designs that have been run, all at the first one's shares of their speed."""
    if len(outcomes) == 1 or outcomes[0].trace.thinned:
        return [judge_outcome(o, executor) for o in outcomes]
    ran = [i for i, o in enumerate(outcomes) if o.trace.stopped_at_s is None]
    paces = paces_of(ready_of(outcomes[0]))
    found: list[Judged | None] = [None] * len(outcomes)
    for i, one in zip(ran, judge_ringing([ready_of(outcomes[i]) for i in ran], paces, executor), strict=True):
        found[i] = one
    return found


def ready_of(outcome: Outcome) -> Prepared:
    """What an outcome was made from."""
    motion = motion_of(outcome.scenario, outcome.machine, outcome.system)  # deterministic: the same shapers once more
    return Prepared(outcome.scenario, outcome.machine, outcome.system, outcome.plan, motion)


def not_faded(ringing: dict[str, Ringing | None], plan: Plan) -> bool:
    """Whether what rings after a corner lasts longer than the shortest leg, so that corners add up."""
    shortest = min((leg.end_s - leg.start_s for leg in plan.legs), default=np.inf)
    known = [r for r in ringing.values() if r is not None and r.frequency_hz is not None]
    return any((r.watched_s if r.fades_to_5_percent_s is None else r.fades_to_5_percent_s) > shortest for r in known)


def judged_words(judged: Judged | None, outcome: Outcome) -> str:
    """ "35 µm at 150 mm/s; 16 to 64 at speeds around it, 120 to 180 mm/s; judged 44 µm, their root mean square." "" where
    there is no verdict."""
    if judged is None:
        return ""
    said = []
    peaks = [r.peak_m for r in outcome.analysis.ringing.values() if r is not None]
    if judged.judged_m is None or judged.least_m is None or judged.most_m is None:
        said.append(f"Not judged: at {len(judged.slipping_m_s)} of {SPEEDS} speeds around this one a motor slips")
    elif max(peaks, default=judged.most_m) < SILENT_M and judged.most_m < SILENT_M:
        return ""
    elif judged.speeds_m_s is None:
        worst = f"{length(max(peaks))} at its worst corner; " if peaks else ""
        kind = "at its worst corners" if outcome.trace.thinned else f"at its {judged.counted} corners"
        said.append(
            f"Ringing: {worst}{between(judged.least_m, judged.most_m)} {kind}; judged {length(judged.judged_m)},"
            " their root mean square"
        )
    else:
        own = (
            _usual_speed(outcome.plan)
            if outcome.scenario.file.move.gcode
            else motion_limits(outcome.scenario).speed_m_s
        )
        here = f"{length(max(peaks))} at {_mm_s(own)} mm/s; " if peaks else ""
        low, high = judged.speeds_m_s
        said.append(
            f"Ringing: {here}{between(judged.least_m, judged.most_m)} at speeds around it, {_mm_s(low)} to {_mm_s(high)}"
            f" mm/s; judged {length(judged.judged_m)}, their root mean square"
        )
    if judged.slipping_m_s and judged.judged_m is not None:
        said.append(f"left out, because a motor slips there: {', '.join(_mm_s(v) for v in judged.slipping_m_s)} mm/s")
    if not_faded(outcome.analysis.ringing, outcome.plan):
        said.append("the corner before has not faded")
    return "; ".join(said) + "."


def _mm_s(speed_m_s: float) -> str:
    return f"{1e3 * speed_m_s:.0f}"


def between(low_m: float, high_m: float) -> str:
    """Two lengths, m, in the larger one's unit: "16 to 64 µm"."""
    low, high = length(low_m), length(high_m)
    unit = high.split(" ")[1]
    return f"{low.split(' ')[0] if low.endswith(unit) else low} to {high}"

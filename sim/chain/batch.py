"""Many runs that leave only what they are judged by: designs times paces, within a nanometre of what `run` says.

    trials = judge([prepare(scenario), ...], paces=[0.9, 1.0, 1.1])     # one Trials a design, in their order
    trials[0].peak_m                                                    # (3, 2) m: X and Y; nan: never stands still

A design is prepared once. A motion at a pace is planned and turned into the loop's commands once, for all designs that
ask for it with motors that travel alike. Nothing else is recorded than the second half of every stand-still, where the
place of rest is read; peaks are those of every step. Work goes through a `concurrent.futures.Executor`: threads by
default, because compiled loops hold no lock; a pool of processes or a cluster does as well.
"""

from __future__ import annotations

import pickle
import threading
from collections.abc import Hashable, Iterable, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cached_property
from os import cpu_count

import numpy as np
from numpy.typing import NDArray

from ..analyse.ringing import AXES, Spot, Still, settled, spots
from ..compiling import let_go
from ..model.system import System
from ..plan.build import MotionPlan
from ..plan.stretches import Stretch
from ..scenario.motion import record_spec
from ..simulate.feed import MOST_KEPT, Feed, Seen, run_over
from ..simulate.generated import GeneratedLoop
from ..simulate.keep import tool_places
from ..simulate.lanes import LANES, Lane, lane_of, lanes_there, run_over_lanes
from ..simulate.run import LONG_STRETCH_S, MOST_STEPS, at_rest, slips_of, stretch_s
from ..simulate.steps import longest_step, whole_part
from ..trace import Slip, rest_weights
from .chain import Prepared
from .few import Few
from .motion import Motion
from .torque import share_of

Array = NDArray[np.float64]

#: Designs that one task works on at most.
BLOCK = LANES


@dataclass(frozen=True)
class Rig:
    """A design on which motions are tried. system, start: as it stands before the move.  step_s: of its loop."""

    motion: Motion
    system: System
    start: Array
    step_s: float
    record_s: float
    given: GeneratedLoop | None = field(default=None, compare=False)

    @cached_property
    def loop(self) -> GeneratedLoop:
        """The loop given, or its own, loaded or compiled when it is first asked for."""
        return GeneratedLoop(self.system) if self.given is None else self.given

    @cached_property
    def lane(self) -> Lane:
        """What it takes to go with others, see `lanes.py`."""
        return lane_of(self.system)

    @cached_property
    def key(self) -> Hashable:
        """What is equal where the same numbers are fed to the loop."""
        travel = pickle.dumps((self.system.tool_travel, [m.increment_rad for m in self.system.motors]))
        return self.motion.key, self.step_s, self.record_s, travel

    def plan_key(self, pace: float) -> Hashable:
        """What is equal where plans and their stretches are."""
        # Stretches are cut alike for all steps but the shortest (`run.stretch_s`).
        return self.motion.key, pace, min(self.step_s, LONG_STRETCH_S / MOST_STEPS)

    def __reduce__(self) -> tuple[object, ...]:
        # A compiled loop stays at home.
        return Rig, (self.motion, self.system, self.start, self.step_s, self.record_s)


def rig_of(ready: Prepared, motion: Motion | None = None) -> Rig:
    """A design made ready for trials. motion: another than its own. Raises RunError where it has no static equilibrium."""
    place = ready.plan.start if motion is None else motion.plan().start
    record_s = record_spec(ready.scenario).step_s
    step_s = whole_part(record_s, longest_step(ready.system, record_s))
    system, start = at_rest(ready.system, place)
    return Rig(ready.motion if motion is None else motion, system, start, step_s, record_s)


@dataclass(frozen=True)
class Sample:
    """What came of one run. peak_m: X and Y, nan where that axis never stands still after a leg.

    spots: the stand-stills, and their peaks_m, (k,).  slips: motors that fell out of step.  slack_s: by belt, summed.
    least_tension_n: inf without belts.  most_torque_nm, torque_share: (m,); shares only where every row is kept, else nan.
    stopped_s: when the motion grew without bound, else None.  top_speed_m_s: the fastest leg's.
    """

    peak_m: tuple[float, float]
    spots: tuple[Spot, ...]
    peaks_m: Array
    slips: tuple[Slip, ...]
    slack_s: float
    least_tension_n: float
    most_torque_nm: Array
    torque_share: Array
    stopped_s: float | None
    top_speed_m_s: float
    move_s: float


@dataclass(frozen=True)
class Trials:
    """What came of one design at k paces; every array in their order.

    paces: (k,) factors on every speed.  peak_m: (k, 2) m, X and Y, nan where an axis never stands still after a leg or the
    run ended early.  slack_s: (k,) s.  passages: (k,) electrical turns that rotors passed; lost_steps: (k,) full steps off
    at the end.  move_s: (k,) s.  whole: (k,) whether the run came to its end.  samples: the runs themselves.
    """

    paces: Array
    samples: tuple[Sample, ...]

    @property
    def peak_m(self) -> Array:
        return np.array([s.peak_m for s in self.samples]).reshape(-1, len(AXES))

    @property
    def slack_s(self) -> Array:
        return np.array([s.slack_s for s in self.samples])

    @property
    def passages(self) -> NDArray[np.int64]:
        return np.array([sum(slip.passages for slip in s.slips) for s in self.samples], np.int64)

    @property
    def lost_steps(self) -> NDArray[np.int64]:
        return np.array([sum(slip.lost_steps for slip in s.slips) for s in self.samples], np.int64)

    @property
    def move_s(self) -> Array:
        return np.array([s.move_s for s in self.samples])

    @property
    def whole(self) -> NDArray[np.bool_]:
        return np.array([s.stopped_s is None for s in self.samples], np.bool_)


def judge(
    designs: Sequence[Prepared | Rig],
    paces: Sequence[float] = (1.0,),
    executor: Executor | None = None,
    feeds: Feeds | None = None,
    lanes: bool = False,
) -> list[Trials]:
    """Every design at every pace, in their order.

    paces: factors on every speed of a design's own motion.  executor: where the runs are done; None: threads of this
    process, one a processor.  feeds: motions made ready by an earlier call, with their own word on lanes.  lanes: whether
    designs of one topology go eight at a time, a fifth faster at full detail, nearly twice as fast at simple; they then
    differ from a run of their own by rounding, and where rotors pass by what that grows to. Raises InputError for a motion
    that cannot be followed, RunError for a design that cannot stand.
    """
    ready = [d if isinstance(d, Rig) else rig_of(d) for d in designs]
    tasks = list(_tasks(len(ready), len(paces)))
    own = executor is None and len(tasks) > 1
    feeds = Feeds(lanes=lanes and lanes_there(), most=3) if feeds is None else feeds
    if own and not feeds.lanes:
        _ = [one.loop for one in ready]  # compiled, where they must be, by one thread
    chosen = [([ready[i] for i in mine], [paces[k] for k in now]) for mine, now in tasks]
    if executor is not None:
        done: Iterable[list[list[Sample]]] = [f.result() for f in [executor.submit(_block, *c, feeds) for c in chosen]]
    elif own:
        with ThreadPoolExecutor(min(cpu_count() or 1, len(tasks))) as pool:
            try:
                done = list(pool.map(_block, *zip(*chosen, strict=True), [feeds] * len(chosen)))
            except BaseException:
                feeds.given_up.set()  # Ctrl-C, mostly: what the threads are at ends within a stretch
                let_go(getattr(pool, "_threads", ()))
                raise
    else:
        done = [_block(*c, feeds) for c in chosen]
    table: list[list[Sample | None]] = [[None] * len(paces) for _ in ready]
    for (mine, now), found in zip(tasks, done, strict=True):
        for i, samples in zip(mine, found, strict=True):
            table[i][now.start : now.stop] = samples
    return [Trials(np.array(paces, float), tuple(s for s in row if s is not None)) for row in table]


def _tasks(designs: int, paces: int) -> Iterable[tuple[range, range]]:
    """Which designs at which paces are one task: a pace of a few designs, then the next few at it: planned once."""
    for k in range(paces):
        for first in range(0, designs, BLOCK):
            yield range(first, min(first + BLOCK, designs)), range(k, k + 1)


def _block(designs: list[Rig], paces: list[float], feeds: Feeds) -> list[list[Sample]]:
    """One task: samples of each design at each pace."""
    if not feeds.lanes or not all(one.system.n for one in designs):
        return [[sample(one, feeds.of(one, pace), feeds.given_up) for pace in paces] for one in designs]
    out: list[list[Sample]] = [[] for _ in designs]
    alike: dict[Hashable, list[int]] = {}
    for i, one in enumerate(designs):
        alike.setdefault((one.lane.text, one.key), []).append(i)
    for pace in paces:
        for mine in alike.values():
            ready = feeds.of(designs[mine[0]], pace)
            some = [designs[i] for i in mine]
            seen = run_over_lanes(ready.feed, [(d.system, d.start, d.lane) for d in some], feeds.given_up)
            for i, one, own in zip(mine, some, seen, strict=True):
                out[i].append(_told(one, ready, own))
    return out


@dataclass(frozen=True)
class Ready:
    """A motion ready for the loops, with its stand-stills. rows, weights: of each, those its place of rest is read from."""

    plan: MotionPlan
    feed: Feed
    spots: tuple[Spot, ...]
    rows: tuple[slice, ...]
    weights: tuple[Array | None, ...]
    top_speed_m_s: float


class Feeds:
    """Motions made ready, the last few of them, megabytes each: shared by the threads of one study, empty where it is sent."""

    MOST = 6

    def __init__(self, every_row: bool = False, lanes: bool = False, most: int = MOST) -> None:
        self.every_row, self.lanes = every_row, lanes
        self.given_up = threading.Event()
        self._plans, self._feeds = Few[_Planned](most), Few[Ready](most, lambda ready: ready.feed.kept, MOST_KEPT)

    def __reduce__(self) -> tuple[object, ...]:
        return Feeds, (self.every_row, self.lanes, self._feeds.most)

    def of(self, design: Rig, pace: float) -> Ready:
        """The motion of a design at a pace. Raises ScenarioError or ProgramError where it cannot be followed."""
        return self._feeds.get((design.key, pace), lambda: self._ready(design, pace))

    def _ready(self, design: Rig, pace: float) -> Ready:
        planned = self._plans.get(design.plan_key(pace), lambda: _planned(design, pace))
        plan, found = planned.plan, planned.spots
        wanted = None if self.every_row else _merged([spot.late_s for spot in found])
        feed = Feed(plan, planned.stretches, design.system, design.step_s, design.record_s, wanted)
        rows, weights = [], []
        for spot in found:
            half, until = spot.late_s
            mine = slice(int(np.searchsorted(feed.t, half)), int(np.searchsorted(feed.t, until + 1e-9)))
            rows.append(mine)
            weights.append(rest_weights(feed.t[mine], half, until))
        top = max((leg.cruise_speed_m_s for leg in plan.legs), default=0.0)
        return Ready(plan, feed, found, tuple(rows), tuple(weights), top)


@dataclass(frozen=True)
class _Planned:
    """A plan, its stretches and stand-stills."""

    plan: MotionPlan
    stretches: list[Stretch]
    spots: tuple[Spot, ...]


def _planned(design: Rig, pace: float) -> _Planned:
    plan = design.motion.plan(pace)
    stretches = list(plan.stretches(stretch_s(plan, design.step_s)))
    return _Planned(plan, stretches, tuple(spot for axis in range(len(AXES)) for spot in spots(stretches, axis, plan)))


def _merged(spans: list[tuple[float, float]]) -> Array:
    """Spans in order, overlapping ones as one, (k, 2) s."""
    out: list[list[float]] = []
    for low, high in sorted(spans):
        if out and low <= out[-1][1]:
            out[-1][1] = max(out[-1][1], high)
        else:
            out.append([low, high])
    return np.array(out).reshape(-1, 2)


def sample(design: Rig, ready: Ready, given_up: threading.Event | None = None) -> Sample:
    """One run, judged. given_up: see `feed.run_over`."""
    return _told(design, ready, run_over(ready.feed, design.system, design.start, design.loop, given_up))


def _told(design: Rig, ready: Ready, seen: Seen) -> Sample:
    """What a run left, judged."""
    system = design.system
    peaks = _peaks(system, ready, seen)
    by_axis = [max((p for p, s in zip(peaks, ready.spots, strict=True) if s.axis == a), default=np.nan) for a in (0, 1)]
    # In the order of `commands.extreme_names`: six places, tensions, torques, lags.
    runs, motors = len(system.runs), len(system.motors)
    low, high = seen.low.min(axis=0), seen.high.max(axis=0)
    tension, torque = slice(6, 6 + runs), slice(6 + runs, 6 + runs + motors)
    most = np.maximum(-low[torque], high[torque])
    shares = _torque_shares(system, seen, most) if ready.feed.wanted is None else np.full(motors, np.nan)
    return Sample(
        (float(by_axis[0]), float(by_axis[1])), ready.spots, peaks, tuple(slips_of(system, seen.turns, {})),
        float(seen.slack.sum()), float(low[tension].min(initial=np.inf)), most, shares, seen.stopped_s,
        ready.top_speed_m_s, ready.plan.move_s,
    )  # fmt: skip


def _torque_shares(system: System, seen: Seen, most: Array) -> Array:
    """The largest share of the torque it has at its speed that each motor gives in the rows seen, (m,); ideal ones: nan."""
    n, runs = system.n, len(system.runs)
    out = np.full(len(system.motors), np.nan)
    for j, motor in enumerate(system.motors):
        if motor.spec is not None and motor.row is not None and len(seen.t) >= 3:
            given, speed = seen.out[:, 2 * n + runs + j], seen.out[:, n : 2 * n] @ motor.row
            out[j] = share_of(motor.spec, given, speed, float(most[j]))
    return out


def _peaks(system: System, ready: Ready, seen: Seen) -> Array:
    """Largest distance of the tool from its place of rest in each stand-still, (k,) m; nan where the run ended early."""
    if seen.stopped_s is not None:
        return np.full(len(ready.spots), np.nan)
    tool = tool_places(system, seen.out[:, : system.n], seen.commanded)
    out = np.empty(len(ready.spots))
    for i, (spot, rows, weight) in enumerate(zip(ready.spots, ready.rows, ready.weights, strict=True)):
        stretches = slice(spot.first, spot.last + 1)
        low, high = float(seen.low[stretches, spot.axis].min()), float(seen.high[stretches, spot.axis].max())
        still = Still(spot.axis, spot.leg, spot.start_s, spot.end_s, low, high)
        out[i] = still.peak_m(settled(tool[rows, spot.axis], weight, still))
    return out

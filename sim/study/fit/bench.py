"""What the model says to each kind of measurement, for a machine whose knobs are turned. SI units.

A record's move is simulated and the acceleration taken where the sensor sits; ripples are those of the simulated corner, as
`run` tells them; a push is the model's own stiffness about rest, a pitch that of a taut string.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from threading import Event

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from ...analyse.ringing.decay import judge_decay
from ...analyse.ringing.stills import Still, settled
from ...chain.batch import Feeds, Ready, Rig
from ...chain.motion import Motion, motion_of
from ...errors import InputError, RunError
from ...machine.build import build_machine, sway_stiffness
from ...machine.machine import Machine
from ...model.build import build_model
from ...model.kinematics import Kinematics
from ...model.system import System
from ...practice import STANDARD_GRAVITY
from ...scenario.load import with_changes
from ...scenario.schema import Scenario
from ...simulate.feed import Seen, run_over
from ...simulate.generated import GeneratedLoop
from ...simulate.keep import tool_places
from ...simulate.run import at_rest
from ...simulate.steps import longest_step, whole_part
from .knobs import drawn_of
from .measured import Pitch, Push, Recording, Ripples, Set

Array = NDArray[np.float64]

#: Rows of a simulated record. Detent shakes at some 600 Hz: through rows twice as far apart a spline leaves images of
#: that, which a sensor's own rate folds down among the modes.
ROW_S = 2.5e-4
UP = np.array([0.0, 0.0, STANDARD_GRAVITY])


@dataclass(frozen=True)
class Built:
    """A machine with its knobs turned."""

    machine: Machine
    system: System

    @cached_property
    def loop(self) -> GeneratedLoop:
        """Its step loop."""
        return GeneratedLoop(self.system)

    @cached_property
    def kinematics(self) -> Kinematics:
        """How its bodies move."""
        return Kinematics(self.machine)


def build(scenario: Scenario, values: dict[str, float]) -> Built:
    """The machine of a scenario with these values, by key in file units."""
    machine = build_machine(scenario, drawn_of(values))
    return Built(machine, build_model(machine))


@dataclass(frozen=True)
class Felt:
    """What a sensor would feel, in the machine's axes: (n, 3) m/s2 at times (n,) s of the move; at rest gravity, upwards."""

    t_s: Array
    slopes: CubicSpline

    def at(self, t: Array) -> Array:
        """(k, 3) at times (k,) s; before and after the move, rest."""
        inside = np.clip(t, self.t_s[0], self.t_s[-1])
        found = np.asarray(self.slopes(inside))
        found[(t < self.t_s[0]) | (t > self.t_s[-1])] = 0.0
        return np.asarray(found + UP)


class Move:
    """A move that was really made, ready to be simulated on machines whose knobs are turned. set: what was asked for it."""

    def __init__(self, scenario: Scenario, built: Built, changes: Set, at: str) -> None:
        try:
            self.scenario = with_changes(scenario, changes, f"{at} set") if changes else scenario
            self.motion: Motion = motion_of(self.scenario, built.machine, built.system)
            self.plan = self.motion.plan()
        except InputError as error:
            raise InputError(
                "\n".join(line if at in line else f"{at}: {line}" for line in str(error).split("\n"))
            ) from None
        self.feeds = Feeds(every_row=True)
        self.step_s = whole_part(ROW_S, longest_step(built.system, ROW_S))

    def ready(self, built: Built) -> Ready:
        """The move as the loop is fed it."""
        return self.feeds.of(self._rig(built, built.system, np.zeros(0)), 1.0)

    def _rig(self, built: Built, system: System, start: Array) -> Rig:
        return Rig(self.motion, system, start, self.step_s, ROW_S, built.loop)

    def refine(self, built: Built) -> None:
        """Take shorter steps from now on where this machine is too quick for them."""
        allowed = longest_step(built.system, ROW_S)
        while self.step_s > allowed * (1 + 1e-9):
            self.step_s /= 2

    def run(self, built: Built, given_up: Event | None = None) -> tuple[Ready, Seen]:
        """Simulate it. given_up: see `feed.run_over`. Raises RunError where the motion grows without bound."""
        system, start = at_rest(built.system, self.plan.start)
        ready = self.ready(built)
        seen = run_over(ready.feed, system, start, built.loop, given_up)
        if seen.stopped_s is not None:
            raise RunError("the motion grows without bound")
        return ready, seen


def felt(move: Move, built: Built, recording: Recording, given_up: Event | None = None) -> Felt:
    """What the sensor of a record would feel."""
    ready, seen = move.run(built, given_up)
    system, machine, n = built.system, built.machine, built.system.n
    speeds = seen.out[:, n : 2 * n]
    if np.any(system.command_inertia):
        omega = np.concatenate([c.omega[c.record >= 0, 0] for c in ready.feed.chunks(system)])
        speeds = speeds - omega @ system.command_inertia.T
    kin, body = built.kinematics, machine.tool_body if recording.on == "tool" else machine.work_body
    point = np.asarray(machine.tool_point) + np.asarray(recording.at_m)
    rows, turns = kin.at(body, point)[:, :n], kin.rows[body][3:, :n]
    moved = speeds @ rows.T
    t = seen.t
    slopes = CubicSpline(t, moved).derivative()
    if not np.any(turns):
        return Felt(t, slopes)
    # A body that tilts by phi sees gravity turned the other way: f = a + g up - phi x (g up).
    tilt = -np.cross((seen.out[:, :n] - seen.out[0, :n]) @ turns.T, UP)
    own = CubicSpline(t, tilt)
    return Felt(t, _Sum(slopes, own))


class _Sum:
    """Two splines as one."""

    def __init__(self, *parts: CubicSpline) -> None:
        self.parts = parts

    def __call__(self, t: Array) -> Array:
        return np.asarray(sum(part(t) for part in self.parts))


def ripple_spacing_m(
    move: Move, built: Built, ripples: Ripples, spot: int | None, given_up: Event | None = None
) -> tuple[float, int]:
    """(spacing of ripples, the stand-still it was read from): the worst of that axis, or the one given.

    nan where nothing rings there. As `run` reads them: frequency of the first three swings after the stop.
    """
    ready, seen = move.run(built, given_up)
    tool = tool_places(built.system, seen.out[:, : built.system.n], seen.commanded)[:, ripples.axis]
    best: tuple[float, int, Array, Array] | None = None
    for i, (one, rows, weight) in enumerate(zip(ready.spots, ready.rows, ready.weights, strict=True)):
        if one.axis != ripples.axis or (spot is not None and i != spot):
            continue
        mine = slice(
            int(np.searchsorted(seen.t, one.start_s - 1e-9)), int(np.searchsorted(seen.t, one.late_s[1] + 1e-9))
        )
        if mine.stop - mine.start < 8:
            continue
        y = tool[mine]
        rest = settled(
            tool[rows], weight, Still(one.axis, one.leg, one.start_s, one.end_s, float(y.min()), float(y.max()))
        )
        peak = float(np.abs(y - rest).max())
        if best is None or peak > best[0]:
            best = peak, i, seen.t[mine] - one.start_s, y - rest
    if best is None:
        return float("nan"), -1
    _, i, t, y = best
    even = np.diff(t) < 1.5 * ROW_S
    n = len(t) if even.all() else int(np.argmin(even)) + 1
    if n > 2 and t[n - 1] - t[n - 2] < 0.99 * ROW_S:
        n -= 1
    decay = judge_decay(t[:n], y[:n])
    hertz = None if decay is None else decay.frequency_hz
    return (float("nan") if hertz is None else ripples.speed_m_s / hertz), i


def pitch_hz(built: Built, pitch: Pitch) -> float:
    """Pitch of a strand: sqrt(T / m) / 2 L, that of a string without stiffness (Mersenne, 1636; any text on acoustics)."""
    run = next((r for r in built.system.runs if (r.belt, r.name) == (pitch.belt, pitch.run)), None)
    assert run is not None
    mass = next(b.spec.mass_kg_m for b in built.machine.belts if b.name == pitch.belt)
    return float(np.sqrt(run.pretension_n / mass) / (2 * pitch.free_m))


def give_m(built: Built, push: Push) -> float:
    """What the tool gives against the bed, or the frame's top against its base, under a push, m: guides slide freely."""
    if push.on == "frame":
        return push.force_n / sway_stiffness(built.machine, push.axis)
    system = built.system
    place = system.middle.copy()
    if push.at_m is not None:
        place[:2] = push.at_m
    k = system.linear_stiffness(system.rest(place))
    pushed = built.kinematics.at(built.machine.tool_body, built.machine.tool_point)[push.axis, : system.n]
    try:
        return float(push.force_n * system.tool_rows[push.axis] @ np.linalg.solve(k, pushed))
    except np.linalg.LinAlgError:
        raise RunError("nothing holds the tool along that axis") from None


def refuse_unknown(built: Built, pitches: tuple[Pitch, ...], pushes: tuple[Push, ...], label: str) -> None:
    """Raise InputError for a strand the machine does not have, or a place out of reach."""
    known = [f'"{r.belt} {r.name}"' for r in built.system.runs]
    for pitch in pitches:
        if f'"{pitch.belt} {pitch.run}"' not in known:
            raise InputError(
                f'{label} [[pitch]] run = "{pitch.belt} {pitch.run}": no such strand; there are {", ".join(known)}'
            )
    for push in pushes:
        (x0, x1), (y0, y1), _ = built.machine.reach
        if push.at_m is not None and not (x0 <= push.at_m[0] <= x1 and y0 <= push.at_m[1] <= y1):
            raise InputError(
                f"{label} [[push]] at_mm: out of reach; X {x0 * 1e3:g} to {x1 * 1e3:g}, Y {y0 * 1e3:g} to {y1 * 1e3:g}"
            )
        if push.on == "frame" and built.machine.frame_stiffness is None:
            raise InputError(f'{label} [[push]] on = "frame": the frame of this machine is rigid')

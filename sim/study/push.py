"""A hand that pushes the tool while the motors are held, and what comes when it lets go. SI units.

The machine is the one that is simulated: belts, the motors' magnetic springs and, at detail full, frame and guides give
way. Friction is left out while the hand pushes (it finds its place by a little shaking); once let go it is all there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..analyse.reading import duration
from ..analyse.ringing.decay import Decay, judge_decay
from ..errors import RunError
from ..machine.machine import Machine
from ..model.build import build_model
from ..model.forces import Forces
from ..model.statics import equilibrium, hand_rows
from ..model.system import System
from ..simulate.commands import Chunk, Extremes, State, out_width
from ..simulate.generated import GeneratedLoop
from ..simulate.run import at_rest
from ..simulate.steps import longest_step, whole_part
from .report import Report
from .ways import Way

Array = NDArray[np.float64]

RECORD_S = 0.5e-3
#: How long what is let go is watched, s.
WATCHED_S = 0.4
#: A run that pulls less than this hangs slack.
SLACK_N = 1e-9
#: Of the largest torque so much is asked of a motor at most.
HELD = 0.92
TOO_HARD = "pushed that hard, a motor cannot hold it and loses its step"
#: From a swing this many times faster than the ringing test's on, the two are told as different.
OTHER = 0.05
#: A swing that takes the tool along by less than this share of the most is not heard at it.
FELT = 0.02


@dataclass(frozen=True)
class Push:
    """force_n: (3,), of the hand on what carries the tool.  gives_m: (3,), how far the tool is from where the motors hold it.
    tension_n: by (belt, run).  q: (n,)."""

    force_n: Array
    gives_m: Array
    tension_n: dict[tuple[str, str], float]
    q: Array

    @property
    def slack(self) -> tuple[tuple[str, str], ...]:
        """The runs that hang slack, (belt, run)."""
        return tuple(run for run, force in self.tension_n.items() if force <= SLACK_N)

    @property
    def stiffness_n_m(self) -> float | None:
        """Force over way along the push; None where nothing gives."""
        force = float(np.linalg.norm(self.force_n))
        way = float(self.gives_m @ self.force_n) / force if force > 0 else 0.0
        return force / way if way > 1e-12 else None


@dataclass(frozen=True)
class Rung:
    """After the hand let go. t_s: (k,).  off_m: (k, 3), tool from where the motors hold it.  tension_n: (k, runs), in
    `runs` order.  decays: by axis "x", "y"; None where there is nothing to see."""

    t_s: Array
    off_m: Array
    tension_n: Array
    runs: tuple[tuple[str, str], ...]
    decays: dict[str, Decay | None]

    @property
    def fades_s(self) -> float | None:
        """When the slower axis has faded to 5 %; None where one has not in the time watched."""
        told = [d.fades_s for d in self.decays.values() if d is not None and d.frequency_hz]
        return None if not told or any(f is None for f in told) else max(f for f in told if f is not None)

    @property
    def sentence(self) -> str:
        """ "X swings 77 times a second, Y 61; faded after 54 ms."."""
        told = [(a.upper(), d.frequency_hz) for a, d in self.decays.items() if d is not None and d.frequency_hz]
        if not told:
            return "It creeps back and does not swing."
        said = [f"{told[0][0]} swings {told[0][1]:.3g} times a second", *(f"{a} {hz:.3g}" for a, hz in told[1:])]
        faded = self.fades_s
        when = (
            f"faded after {duration(faded)}"
            if faded is not None
            else f"not faded after {duration(float(self.t_s[-1]))}"
        )
        return f"{', '.join(said)}; {when}."

    def beside(self, report: Report) -> str:
        """How that goes with what a ringing test tells of the same machine, and why it is other where it is; "" where it
        tells nothing. The swing that was heard is the mode nearest in frequency among those that take the tool along."""
        off, others, seen = [], [], False
        for axis, decay in self.decays.items():
            told = report.analysis.ringing.get(axis)
            if decay is None or not decay.frequency_hz or told is None or not told.frequency_hz:
                continue
            seen = True
            if abs(told.frequency_hz / decay.frequency_hz - 1.0) > OTHER:
                off.append(f"{axis.upper()} {told.frequency_hz:.3g}")
                hand, move = (
                    _swing_at(report.ways, "xyz".index(axis), hz) for hz in (decay.frequency_hz, told.frequency_hz)
                )
                if hand != move:
                    others.append((hand, move))
        if not off:
            return "The ringing test tells the same." if seen else ""
        head = f"The ringing test tells {' and '.join(off)} times a second: "
        if not others:
            return head + "the same swing, of another size and at another place."
        hand, move = others[0]
        who = "a hand, which pushes the bed too" if _bed_moves(report.machine) else "a hand"
        return head + f"a move starts another swing ({move}) than {who} ({hand})."


class PushBench:
    """A machine whose tool can be pushed while its motors are held at a place."""

    def __init__(self, machine: Machine) -> None:
        self._model = build_model(machine)

    @cached_property
    def _loop(self) -> GeneratedLoop:
        return GeneratedLoop(self._model)

    @cached_property
    def _step_s(self) -> float:
        return whole_part(RECORD_S, longest_step(self._model, RECORD_S))

    def push(self, tool: Array, force_n: Array) -> Push:
        """The hand pushes the tool with a force (3,), N, against the work, motors held for `tool` (3,), m.

        Raises RunError where a motor cannot hold any more.
        """
        system, start = at_rest(self._model, np.asarray(tool, float))
        force = np.where(system.tool_moves, np.asarray(force_n, float), 0.0)
        try:
            q = equilibrium(system, tool, force) if np.any(force) else start
        except RunError:
            raise RunError(TOO_HARD) from None
        if any(lag > 0.5 * np.pi for lag in _lag(system, tool, q)):
            raise RunError(TOO_HARD)
        gives = np.where(system.tool_moves, system.tool_at(q) - tool, 0.0)
        return Push(force, np.asarray(gives), _tensions(system, tool, q), q)

    def compliance(self, tool: Array) -> Array:
        """How far the tool gives for each newton, (3, 3), m/N, while no run hangs slack; zero along axes that do not move."""
        system = self._model
        q = system.rest(np.asarray(tool, float))
        return np.asarray(system.tool_rows @ np.linalg.solve(system.linear_stiffness(q), hand_rows(system).T))

    def holds_n(self, tool: Array, way: Array) -> float:
        """How hard a hand may push along a direction (3,) before a motor loses its step, N: by virtual work, each motor
        has to give the share of the force that turns it, beside what its detent may take."""
        system = self._model
        turns = np.linalg.pinv(system.motor_travel_at(np.asarray(tool, float)))
        torque = np.abs(np.asarray(way, float) / np.linalg.norm(way) @ turns)
        real = [(m.limit_nm - m.detent_nm, t) for m, t in zip(system.motors, torque, strict=True) if m.spec is not None]
        return min((HELD * most / float(t) for most, t in real if t > 1e-12), default=np.inf)

    def let_go(self, tool: Array, push: Push) -> Rung:
        """What the machine does when the hand lets go; motors go on holding."""
        system, _ = at_rest(self._model, np.asarray(tool, float))
        steps = round(WATCHED_S / self._step_s)
        each = round(RECORD_S / self._step_s)
        chunk = _held_chunk(system, np.asarray(tool, float), self._step_s, steps, each)
        out = np.zeros((chunk.rows, out_width(system)))
        state = State(push.q.copy(), np.zeros(system.n), np.zeros(len(system.frictions)), 0.0)
        self._loop.advance(system, state, chunk, out, Extremes.fresh(system))
        n = system.n
        off = np.where(system.tool_moves, system.tool_at(out[:, :n]) - tool, 0.0)
        t = np.asarray(np.arange(chunk.rows) * RECORD_S, np.float64)
        decays: dict[str, Decay | None] = {}
        for k, axis in enumerate("xyz" if system.machine.arms else "xy"):
            swung = off[:, k] - off[-len(t) // 8 :, k].mean()
            worth = np.abs(swung).max() > 0.02 * np.abs(off[:, :2]).max() and np.abs(swung).max() > 1e-9
            decays[axis] = judge_decay(t, swung) if worth else None
        runs = tuple((run.belt, run.name) for run in system.runs)
        return Rung(t, np.asarray(off), out[:, 2 * n : 2 * n + len(runs)], runs, decays)


def _swing_at(ways: Sequence[Way], axis: int, hertz: float) -> str:
    """What swings at about a frequency, in words: the nearest of the ways that take the tool along that axis (0 X, 1 Y)."""
    felt = [w.swing_m[axis] if axis < 2 else 1.0 for w in ways]
    near = [w for w, much in zip(ways, felt, strict=True) if much > FELT * max(felt)]
    return min(near, key=lambda w: abs(np.log(w.mode.frequency_hz / hertz))).mode.words if near else ""


def _bed_moves(machine: Machine) -> bool:
    """Whether what the hand stands on goes along in the plane."""
    here, there = (machine.offsets(np.array([at, at, 0.0]))[machine.work_body] for at in (0.0, 0.01))
    return bool(np.any(here[:2] != there[:2]))


def _tensions(system: System, tool: Array, q: Array) -> dict[tuple[str, str], float]:
    still, none = np.zeros(len(system.motors)), np.zeros(len(system.frictions))
    theta = system.stepped(system.motor_command(np.asarray(tool, float)))
    limit = np.array([m.limit_nm for m in system.motors])
    _, _, tension, _ = Forces(system)(q, np.zeros(system.n), theta, still, limit, none, none)
    return {(run.belt, run.name): float(f) for run, f in zip(system.runs, tension, strict=True)}


def _lag(system: System, tool: Array, q: Array) -> list[float]:
    """How far each rotor hangs behind its command, electrical rad: beyond a quarter turn its field lets go."""
    theta = system.stepped(system.motor_command(np.asarray(tool, float)))
    real = [(m, t) for m, t in zip(system.motors, theta, strict=True) if m.row is not None and m.spec is not None]
    return [abs(m.spec.rotor_teeth * float(m.row @ q - t)) for m, t in real if m.row is not None and m.spec is not None]


def _held_chunk(system: System, tool: Array, step_s: float, steps: int, each: int) -> Chunk:
    """Steps with the motors held where they are, recorded every `each` steps."""
    theta = system.stepped(system.motor_command(tool))
    limit = np.array([m.limit_nm for m in system.motors])
    record = np.where(np.arange(steps + 1) % each == 0, np.arange(steps + 1) // each, -1).astype(np.int64)
    shape = (steps + 1, 3, len(system.motors))
    return Chunk(
        times=np.asarray(np.arange(steps + 1) * step_s, float),
        lengths=np.append(np.full(steps, step_s), 0.0),
        theta=np.broadcast_to(theta, shape).copy(),
        omega=np.zeros(shape),
        limit=np.broadcast_to(limit, shape).copy(),
        tool=np.broadcast_to(tool, (steps + 1, 3)).copy(),
        record=record,
        rows=int((record >= 0).sum()),
    )

"""Measured and modelled side by side: what is left between them in sigmas, and how that changes with every knob.

Turns x: those of the knobs, then of each record its start (ms off the guess) and its clock (sigmas off 1). What is left is
a row for each sample and axis of each record, the priors of its gain, constant and clock, a row for each other measurement,
and one for the prior of each knob.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from threading import Event

import numpy as np
from numpy.typing import NDArray

from ...errors import BeltspringError, InputError
from ...scenario.schema import Scenario
from .bench import Built, Felt, Move, build, felt, give_m, pitch_hz, refuse_unknown, ripple_spacing_m
from .knobs import Free, free_numbers, written
from .measured import Measured, Recording
from .samples import Samples, samples_of
from .sensor import CLOCK_SIGMA, CONSTANT_SIGMA, GAIN_SIGMA, Pose, best_pose

Array = NDArray[np.float64]

START_S = 1e-3
#: What is left of a measurement that the model cannot make at all, in sigmas.
LOST = 30.0
FORWARD, CENTRAL = 0.004, 0.002
#: Until more is known: rows a sigma of their weighted mean apart tell as much as a third of them.
WIDER = 3.0
#: Twice the log of odds that left-handed axes must have over right-handed ones.
SURE_MIRRORED = 50.0


@dataclass(frozen=True)
class Told:
    """One measurement that is a single number: its name, what was measured, two sigma of it, and its unit, for people."""

    name: str
    measured: float
    give: float
    unit: str
    scale: float


@dataclass(frozen=True)
class Said:
    """What the model says at some turns of the knobs. felt: of each record.  numbers: (k,), of each single number, SI."""

    built: Built
    felt: tuple[Felt, ...]
    numbers: Array


class Problem:
    """One fit. free: its knobs.  samples: the records that are fitted.  checks: those held out, with their moves.

    coarse: whether records are looked at coarsely now.  wider: of each record, by how much its rows tell less than as many
    independent ones.  given_up: once it is set, what is being simulated raises CancelledError.
    """

    def __init__(self, scenario: Scenario, measured: Measured, wanted: Sequence[str] = ()) -> None:
        self.measured = measured
        self.free: Free = free_numbers(scenario, measured, wanted)
        self.knobs = self.free.knobs
        if not self.knobs:
            raise InputError(
                f"{scenario.label}: no number of it has a band, so there is nothing to fit; name keys with --free"
            )
        built = build(self.free.scenario, written(self.knobs, [0.0] * len(self.knobs)))
        refuse_unknown(built, measured.pitch, measured.push, measured.label)
        self._corners = [self._move(built, r.set, f"{measured.label} [[ripples]]") for r in measured.ripples]
        self._spots = [
            ripple_spacing_m(move, built, r, None)[1]
            for move, r in zip(self._corners, measured.ripples, strict=True)
        ]  # fmt: skip
        fitted = [r for r in measured.record if not r.checks]
        self.moves = [self._move(built, r.set, f"{measured.label} {r.name}") for r in fitted]
        self.samples = [self._samples(built, m, r) for m, r in zip(self.moves, fitted, strict=True)]
        held = [r for r in measured.record if r.checks]
        self.check_moves = [self._move(built, r.set, f"{measured.label} {r.name}") for r in held]
        self.checks = [self._samples(built, m, r) for m, r in zip(self.check_moves, held, strict=True)]
        self.told = self._told(built)
        self.runs, self.coarse = 0, False
        self.given_up: Event | None = None
        self.wider = [WIDER] * len(self.samples)

    def _move(self, built: Built, changes: dict[str, object], at: str) -> Move:
        return Move(self.free.scenario, built, changes, at)

    def _samples(self, built: Built, move: Move, recording: Recording) -> Samples:
        return samples_of(recording, felt(move, built, recording), self.measured.label)

    def _told(self, built: Built) -> list[Told]:
        m = self.measured
        out = [
            Told(f"ripples {'xy'[r.axis]} at {r.speed_m_s * 1e3:g} mm/s", r.spacing_m, r.give_m, "mm", 1e3)
            for r in m.ripples
        ]
        out += [Told(f"pitch {p.belt} {p.run}", p.hertz, p.give_hz, "Hz", 1.0) for p in m.pitch]
        out += [Told(f"push {p.on} {'xy'[p.axis]}", p.give_m, p.give_or_take_m, "um", 1e6) for p in m.push]
        return out + [Told(f"weighed {w.key}", w.value, w.give, "", 1.0) for w in m.weighed]

    @property
    def size(self) -> int:
        """How many turns there are."""
        return len(self.knobs) + 2 * len(self.samples)

    @property
    def bounds(self) -> tuple[Array, Array]:
        """Least and most of every turn."""
        ends = np.array([k.ends for k in self.knobs]).reshape(-1, 2)
        aside = np.tile([[-12.0, 12.0], [-5.0, 5.0]], (len(self.samples), 1))
        both = np.concatenate([ends, aside])
        return both[:, 0], both[:, 1]

    @property
    def first(self) -> Array:
        """Where it starts: everything as told, records as first guessed."""
        x = np.zeros(self.size)
        for i, knob in enumerate(self.knobs):
            x[i] = 0.2 if knob.linear else 0.0
        for k, one in enumerate(self.samples):
            x[len(self.knobs) + 2 * k + 1] = np.clip((one.clock - 1) / CLOCK_SIGMA, -4.9, 4.9)
        return x

    def values(self, x: Array) -> dict[str, float]:
        """What every free key is at some turns, in file units."""
        return written(self.knobs, list(x[: len(self.knobs)]))

    def say(self, x: Array, refine: bool = False) -> Said:
        """What the model says. refine: shorten steps where it asks for that. Raises BeltspringError where it is no machine."""
        self.runs += 1
        values = self.values(x)
        built = build(self.free.scenario, values)
        if refine:
            for move in (*self.moves, *self._corners, *self.check_moves):
                move.refine(built)
        out = [felt(m, built, s.recording, self.given_up) for m, s in zip(self.moves, self.samples, strict=True)]
        numbers = [
            ripple_spacing_m(move, built, r, spot, self.given_up)[0]
            for move, r, spot in zip(self._corners, self.measured.ripples, self._spots, strict=True)
        ]
        numbers += [pitch_hz(built, p) for p in self.measured.pitch]
        numbers += [give_m(built, p) for p in self.measured.push]
        numbers += [values[w.key] for w in self.measured.weighed]
        return Said(built, tuple(out), np.array(numbers))

    def when(self, k: int, x: Array) -> tuple[float, float]:
        """(start s, clock) of a fitted record at some turns."""
        start, clock = x[len(self.knobs) + 2 * k : len(self.knobs) + 2 * k + 2]
        return self.samples[k].start_s + float(start) * START_S, 1.0 + float(clock) * CLOCK_SIGMA

    def left(self, said: Said, x: Array) -> Array:
        """What is left, in sigmas, (rows,)."""
        parts = [self.left_of_record(k, said, x) for k in range(len(self.samples))]
        parts.append(self.left_of_told(said))
        parts.append(np.array([k.sigmas(float(t)) for k, t in zip(self.knobs, x, strict=False)]))
        return np.concatenate(parts)

    def left_of_record(self, k: int, said: Said, x: Array) -> Array:
        """What is left of one record: sample after sample, then the priors of gain, clock and constant."""
        one, (start, clock) = self.samples[k], self.when(k, x)
        pose, left = laid_over(one, said.felt[k], start, clock, self.coarse)
        prior = [(pose.gain - 1) / GAIN_SIGMA, (clock - 1) / CLOCK_SIGMA, *(pose.constant / CONSTANT_SIGMA)]
        return np.concatenate([left.ravel() / np.sqrt(self.wider[k]), prior])

    def left_of_told(self, said: Said) -> Array:
        """What is left of the single numbers."""
        out = [
            (t.measured - number) / (0.5 * t.give) if np.isfinite(number) else LOST
            for t, number in zip(self.told, said.numbers, strict=True)
        ]
        return np.array(out, dtype=float)

    def rows(self) -> list[slice]:
        """The rows of what is left that are samples of each record."""
        out, at = [], 0
        for one in self.samples:
            n = (one.coarse if self.coarse else one.fine).a_m_s2.size
            out.append(slice(at, at + n))
            at += n + 2 + one.axes
        return out

    def chi2(self, left: Array) -> Array:
        """Of each fitted record the mean square of what is left, in sigmas, (records,)."""
        return np.array([w * float(np.mean(left[rows] ** 2)) for rows, w in zip(self.rows(), self.wider, strict=True)])

    def widen(self, left: Array) -> None:
        """Let records weigh from now on as much as they tell: by what is left of each, and by how long that stays alike.

        Chance alone leaves something in neighbouring samples together; taken as so many independent ones they would pull
        numbers off what is known of them.
        """
        for k, (rows, one) in enumerate(zip(self.rows(), self.samples, strict=True)):
            r = left[rows].reshape(-1, one.axes) * np.sqrt(self.wider[k])
            self.wider[k] = max(float(np.mean(r**2)) * correlation_time(r), 1.0)

    def slopes(
        self, x: Array, said: Said, left: Array, active: NDArray[np.bool_], central: bool, stop: Callable[[], None]
    ) -> Array:
        """How what is left changes with every turn, (rows, turns); zero for knobs that are not active."""
        j = np.zeros((len(left), self.size))
        low, high = self.bounds
        step = CENTRAL if central else FORWARD
        for i in range(self.size):
            if i < len(self.knobs) and not active[i]:
                # Its own prior is all that holds it.
                j[len(left) - len(self.knobs) + i, i] = self.knobs[i].slope(float(x[i]))
                continue
            stop()
            j[:, i] = self._slope(x, said, left, i, step, central, (float(low[i]), float(high[i])))
        return j

    def _slope(
        self, x: Array, said: Said, left: Array, i: int, step: float, central: bool, ends: tuple[float, float]
    ) -> Array:
        moved: list[tuple[float, Array]] = []
        aside = i >= len(self.knobs)
        for way in (1.0, -1.0) if central or aside else (1.0 if x[i] + step <= ends[1] else -1.0,):
            other = x.copy()
            other[i] += way * step
            if not ends[0] <= other[i] <= ends[1]:
                continue
            try:
                moved.append((other[i] - x[i], self.left(said if aside else self.say(other), other)))
            except BeltspringError:
                continue
        if not moved:
            return np.zeros(len(left))
        if len(moved) == 2:
            return np.asarray((moved[0][1] - moved[1][1]) / (moved[0][0] - moved[1][0]))
        return np.asarray((moved[0][1] - left) / moved[0][0])


def laid_over(one: Samples, felt_by: Felt, start: float, clock: float, coarse: bool = False) -> tuple[Pose, Array]:
    """(the sensor's pose, what is left in sigmas (rows, axes)) with the sensor's clock laid over the move's.

    coarse: looked at through half-closed eyes, for the way.
    """
    eye = one.coarse if coarse else one.fine
    model = eye.means @ felt_by.at((one.t_s - start) * clock)
    weight = np.sqrt(eye.weight)[:, None]
    pose = best_pose(eye.a_m_s2, model, eye.weight)
    left = (eye.a_m_s2 - pose.reads(model)) * weight
    other = best_pose(eye.a_m_s2, model, eye.weight, mirrored=True)
    mirrored = (eye.a_m_s2 - other.reads(model)) * weight
    # Left-handed axes are believed only where they explain far more: a turned sensor would then read gravity upside down.
    own, others = float((left**2).sum()) + pose.unlikely, float((mirrored**2).sum()) + other.unlikely
    return (other, mirrored) if others < 0.95 * own - SURE_MIRRORED else (pose, left)


def correlation_time(r: Array) -> float:
    """Samples that tell as much as one, of (n, axes): 1 + 2 sum of the correlations up to their first zero, axes weighted
    by what they leave."""
    n = len(r)
    size = 1 << int(np.ceil(np.log2(2 * n)))
    power = (np.abs(np.fft.rfft(r - r.mean(axis=0), size, axis=0)) ** 2).sum(axis=1)
    lagged = np.fft.irfft(power, size)[: n // 4]
    if not lagged[0] > 0:
        return 1.0
    rho = lagged / lagged[0]
    below = np.flatnonzero(rho <= 0)
    last = int(below[0]) if len(below) else len(rho)
    return float(1.0 + 2.0 * rho[1:last].sum())

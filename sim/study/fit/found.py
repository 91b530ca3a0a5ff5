"""What a fit found: each number before and after, what the records still leave, and whether the model may be believed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2 as chi2_distribution

from ...machine.build import build_machine
from ...parts.completed import completed_toml
from ...scenario.index import key_at
from ...scenario.load import with_changes
from ...scenario.schema import Scenario
from ...simulate.interrupt import Interruptible
from ..deciding import how_to_measure
from .bench import UP, Felt, felt
from .knobs import Knob
from .lay import laid_best
from .measured import Measured
from .posterior import Posterior, alike, posterior_of
from .problem import Problem, Said, laid_over
from .samples import Samples
from .solve import ENOUGH, Solved, Tell, solve

Array = NDArray[np.float64]

#: A measurement further off than so many machines of a right model ever are is no chance.
CHANCE = 1e-3
DIGITS = 5
LOPSIDED = 1.5


@dataclass(frozen=True)
class Learned:
    """One number. before, after, low, high, was_low, was_high: in `unit`; 19 of 20 machines keep low to high.

    informed: whether what was measured says more of it than was known.
    """

    key: str
    keys: tuple[str, ...]
    unit: str
    before: float
    after: float
    low: float
    high: float
    was_low: float
    was_high: float
    informed: bool

    @property
    def give_or_take(self) -> float:
        """Half of what it may still be, in its unit: two sigma."""
        return 0.5 * (self.high - self.low)

    @property
    def lopsided(self) -> bool:
        """Whether it may be much farther off on one side than on the other, as factors."""
        if not self.low > 0:
            return False
        down, up = np.log(self.after / self.low), np.log(self.high / self.after)
        return bool(max(down, up) > LOPSIDED * min(down, up))


@dataclass(frozen=True)
class Apart:
    """Numbers that what was measured cannot tell apart, and what would help."""

    keys: tuple[str, str]
    correlation: float
    would_help: str


@dataclass(frozen=True)
class Curves:
    """One record along the machine's axis that moves most, (n,): times of the move, s, and accelerations, m/s2."""

    axis: str
    t_s: Array
    measured: Array
    before: Array
    after: Array


@dataclass(frozen=True)
class RecordFound:
    """A record after the fit. unexplained, unexplained_before: rms of what is left, as a share of the signal's.

    chi2: mean square of what is left, in sigmas.  left_out: share of its samples that are clipped.  mirrored: its axes are
    left-handed.
    """

    file: str
    use: str
    unexplained: float
    unexplained_before: float
    chi2: float
    clock: float
    gain: float
    left_out: float
    mirrored: bool
    curves: Curves


@dataclass(frozen=True)
class NumberFound:
    """A single measurement beside the model, before and after, in `unit`."""

    name: str
    measured: float
    give: float
    before: float
    after: float
    unit: str


@dataclass(frozen=True)
class Fitted:
    """What came of a fit. refused: why the result must not be used; "" where it may.  checked: whether a held-out record is
    predicted.  scenario: with what was learned written in, bands with it.  runs: machines tried."""

    title: str
    layout: str
    detail: str
    measured: Measured
    parameters: tuple[Learned, ...]
    apart: tuple[Apart, ...]
    records: tuple[RecordFound, ...]
    numbers: tuple[NumberFound, ...]
    chi2: float | None
    refused: str
    checked: bool
    interrupted: bool
    starts: int
    runs: int
    scenario: Scenario

    @property
    def explains(self) -> bool:
        """Whether the model makes what was measured."""
        return not self.refused

    @property
    def toml(self) -> str:
        """The fitted scenario as a file."""
        design = build_machine(self.scenario).design
        said = "checked against a record that was held out" if self.checked else "not checked against a record held out"
        return f"# Fitted to {self.measured.label}; {said}.\n{completed_toml(self.scenario, design)}"


def fit(scenario: Scenario, measured: Measured, free: Sequence[str] = (), tell: Tell | None = None) -> Fitted:
    """Bring a scenario's numbers in line with what was measured. free: keys that are free as well.

    tell: called as it goes, see `solve`. Ctrl-C ends it with the best so far. Raises InputError for what cannot be fitted.
    """
    problem = Problem(scenario, measured, free)
    with Interruptible() as wish:
        solved = solve(problem, tell, wish)
        return found_by(problem, solved, posterior_of(problem, solved))


def found_by(problem: Problem, solved: Solved, posterior: Posterior) -> Fitted:
    """What a solved problem says."""
    k = len(problem.knobs)
    zero = np.zeros(problem.size)
    before = problem.say(zero)
    records = [_record(problem, i, before, solved) for i in range(len(problem.samples))]
    records += [_check(problem, i, before, solved) for i in range(len(problem.checks))]
    numbers = tuple(
        NumberFound(t.name, t.measured * t.scale, t.give * t.scale, float(b) * t.scale, float(a) * t.scale, t.unit)
        for t, b, a in zip(problem.told, before.numbers, solved.said.numbers, strict=True)
    )
    chi2 = problem.chi2(solved.left)
    checks = [r for r in records if r.use == "check"]
    final = problem.values(solved.x)
    parameters = tuple(
        _learned(knob, float(turn), (float(below), float(above)), bool(told), final)
        for knob, turn, below, above, told in zip(
            problem.knobs, solved.x[:k], posterior.below, posterior.above, posterior.informed, strict=True
        )
    )
    file = problem.free.scenario
    return Fitted(
        title=file.file.title,
        layout=file.layout,
        detail=file.file.detail,
        measured=problem.measured,
        parameters=parameters,
        apart=tuple(_apart(problem, *pair) for pair in alike(posterior)),
        records=tuple(records),
        numbers=numbers,
        chi2=float(chi2.max()) if len(chi2) else None,
        refused=_refusal(problem, solved, chi2, checks),
        checked=bool(checks) and all(c.chi2 <= ENOUGH for c in checks),
        interrupted=solved.interrupted,
        starts=solved.starts,
        runs=problem.runs,
        scenario=_written(file, problem.knobs, parameters, final),
    )


def _refusal(problem: Problem, solved: Solved, chi2: Array, checks: Sequence[RecordFound]) -> str:
    """Why the result must not be used, in one sentence; "" where it may."""
    full = problem.free.scenario.file.detail == "full"
    way = "look for what the scenario leaves out, or got wrong" if full else "try detail = full"
    fitted = [s.recording.name for s in problem.samples]
    if len(chi2) and float(chi2.max()) > ENOUGH:
        worst = fitted[int(np.argmax(chi2))]
        return (
            f"this model cannot make the record {worst} (what is left is {np.sqrt(chi2.max()):.1f} times what noise and "
            f"2 % of the signal allow): {way}"
        )
    for check in checks:
        if check.unexplained > check.unexplained_before:
            return (
                f"the held-out record {check.file} is predicted worse than before ({100 * check.unexplained:.0f} % unexplained, "
                f"{100 * check.unexplained_before:.0f} % before): {way}"
            )
    told = problem.left_of_told(solved.said)
    if len(told):
        sums = float(told @ told + sum(k.sigmas(float(t)) ** 2 for k, t in zip(problem.knobs, solved.x, strict=False)))
        limit = float(chi2_distribution.isf(CHANCE, len(told) + len(problem.knobs) * (len(chi2) > 0)))
        if sums > limit or float(np.abs(told).max()) > 4.0:
            number = problem.told[int(np.argmax(np.abs(told)))]
            return (
                f"this model cannot make {number.name} = {number.measured * number.scale:.4g} {number.unit}".rstrip()
                + f" within what its numbers may be: measure it again, or {way}"
            )
    return ""


def _learned(knob: Knob, turn: float, off: tuple[float, float], informed: bool, final: dict[str, float]) -> Learned:
    n = knob.number
    # A number that goes with another is told as it stands at the end.
    after = final[knob.key]
    times = after / knob.value(turn) if knob.value(turn) > 0 else 1.0
    low, high = knob.value(turn - off[0]), knob.value(turn + off[1])
    low = max(low, 0.0) if knob.linear else low
    return Learned(n.key, n.keys, n.unit, n.value, after, low * times, high * times, n.low, n.high, informed)


def _apart(problem: Problem, a: int, b: int, correlation: float) -> Apart:
    one, other = problem.knobs[a].number, problem.knobs[b].number
    ways = [how_to_measure(one), how_to_measure(other)]
    help_ = next((w for w in ways if w.startswith("weigh")), ways[0])
    return Apart((one.key, other.key), correlation, help_)


def _written(
    scenario: Scenario, knobs: Sequence[Knob], parameters: Sequence[Learned], final: dict[str, float]
) -> Scenario:
    """The scenario with every free number as it was found, and its band."""
    changes: dict[str, object] = {}
    for knob, learned in zip(knobs, parameters, strict=True):
        for key in knob.number.keys:
            times = final[key] / learned.after if learned.after else 1.0
            value = _kept(key, learned.after * times)
            ends = [min(_kept(key, learned.low * times), value), max(_kept(key, learned.high * times), value)]
            changes[key] = value
            changes[f"band.{key}"] = ends
    return with_changes(scenario, changes, "the fit")


def _kept(key: str, value: float) -> float:
    """A value to so many figures, inside what its key allows."""
    found = key_at(tuple(key.split(".")))
    value = float(f"{value:.{DIGITS}g}")
    if found is not None and found.low is not None and found.high is not None:
        value = min(max(value, found.low), found.high)
    return value


def _record(problem: Problem, i: int, before: Said, solved: Solved) -> RecordFound:
    one, when = problem.samples[i], problem.when(i, solved.x)
    return _judged(one, before.felt[i], solved.said.felt[i], when, "fit")


def _check(problem: Problem, i: int, before: Said, solved: Solved) -> RecordFound:
    one, move = problem.checks[i], problem.check_moves[i]
    after = felt(move, solved.said.built, one.recording)
    return _judged(one, felt(move, before.built, one.recording), after, None, "check")


def _judged(one: Samples, before: Felt, after: Felt, when: tuple[float, float] | None, use: str) -> RecordFound:
    """A record beside the model before and after, each with the start and clock that suit it best."""
    was = laid_best(one, before)
    now = laid_best(one, after) if when is None else when
    _, left_was = laid_over(one, before, *was)
    pose, left = laid_over(one, after, *now)
    size = one.fine.a_m_s2 - pose.constant - pose.gain * pose.turn @ UP
    signal = float(np.sqrt(np.mean(size**2)))
    bare = 1.0 / np.sqrt(one.fine.weight)[:, None]
    share = [float(np.sqrt(np.mean((r * bare) ** 2))) / max(signal, 1e-12) for r in (left, left_was)]
    # In the machine's axes: turned back by the pose that the fit found.
    own = (one.fine.a_m_s2 - pose.constant) / pose.gain @ pose.turn
    model = one.fine.means @ after.at((one.t_s - now[0]) * now[1])
    then = one.fine.means @ before.at((one.t_s - was[0]) * was[1])
    axis = int(np.argmax(((model - UP) ** 2).sum(axis=0)))
    t = (one.fine.t_s - now[0]) * now[1]
    curves = Curves("XYZ"[axis], t, *((v - UP)[:, axis] for v in (own, then, model)))
    return RecordFound(
        one.recording.name, use, share[0], share[1], float(np.mean(left**2)), now[1], pose.gain, one.left_out,
        pose.mirrored, curves,
    )  # fmt: skip

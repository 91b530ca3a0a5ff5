"""What is said of a fit, by hand: records, how lopsided a number is, what the sensor's pose costs, what a measurement leaves."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from beltspring.sim.errors import InputError
from beltspring.sim.study.fit import found as found_module
from beltspring.sim.study.fit import problem as problem_module
from beltspring.sim.study.fit.bench import give_m, pitch_hz, refuse_unknown
from beltspring.sim.study.fit.found import UP, Learned
from beltspring.sim.study.fit.lay import _slopes
from beltspring.sim.study.fit.measured import Pitch, Push
from beltspring.sim.study.fit.problem import Problem
from beltspring.sim.study.fit.samples import Rest, _eye, at_rest
from beltspring.sim.study.fit.sensor import CONSTANT_SIGMA, GAIN_SIGMA, Pose, first_guess
from beltspring.sim.study.fit.sheet import BAND_SIGMA, Leaves, _leaves
from beltspring.sim.study.fit.sheet_words import leaves_words
from beltspring.sim.study.fit.sound import HARMONICS, _harmonic_sum
from beltspring.sim.study.fit.words import record_words


def record(**more: Any) -> Any:
    known = {"file": "step.csv", "use": "fit", "curves": SimpleNamespace(axis="X"), "unexplained": 0.0234}
    known |= {"unexplained_before": 0.41, "clock": 1.0123, "gain": 0.9876, "left_out": 0.0, "mirrored": False}
    return SimpleNamespace(**(known | more))


def test_what_is_left_of_a_record_is_said_in_one_sentence() -> None:
    assert record_words(record()) == (
        "step.csv (X): 2.3 % of it unexplained, 41 % before; its clock runs 1.23 % slow, its gain is 0.988."
    )
    assert "its clock runs 0.50 % fast" in record_words(record(clock=0.995))
    assert record_words(record(use="check")).startswith("step.csv (held out, X): ")
    assert record_words(record(left_out=0.034)).endswith(", 3.4 % of its samples are clipped and left out.")
    assert record_words(record(mirrored=True)).endswith(
        "; its axes are left-handed: two are swapped, or one has the wrong sign."
    )


@pytest.mark.parametrize(
    ("low", "high", "lopsided"),
    [(50.0, 200.0, False), (50.0, 280.0, False), (50.0, 290.0, True), (34.0, 200.0, True), (0.0, 200.0, False)],
)
def test_a_number_is_lopsided_from_half_as_much_again_on_as_factors(low: float, high: float, lopsided: bool) -> None:
    """About 100: 50 and 283 lie a factor of 2 and 2 ^ 1.5 away. Whatever reaches down to nothing has no factor."""
    one = Learned("k", ("k",), "N", 90.0, 100.0, low, high, 10.0, 1000.0, True)
    assert one.lopsided is lopsided
    assert one.give_or_take == pytest.approx(0.5 * (high - low))


def test_an_unlikely_pose_is_the_sum_of_squares_in_sigmas() -> None:
    pose = Pose(np.eye(3), 1 + 2 * GAIN_SIGMA, CONSTANT_SIGMA * np.array([1.0, -3.0, 0.5]))
    assert pose.unlikely == pytest.approx(4.0 + 1.0 + 9.0 + 0.25)
    assert Pose(np.eye(3), 1 - 3 * GAIN_SIGMA, np.zeros(3)).unlikely == pytest.approx(9.0)


def test_what_a_measurement_leaves_is_said_of_the_first_few() -> None:
    leaves = [Leaves(f"key_{k}", 0.3 / (k + 1), 0.04) for k in range(5)]
    assert leaves_words(leaves, 2) == "key_0 ± 30 → 4 %, key_1 ± 15 → 4 %, and 3 more"
    assert leaves_words(leaves[:2], 2) == "key_0 ± 30 → 4 %, key_1 ± 15 → 4 %"
    assert leaves_words([], 2) == "tells nothing that is not known as well"
    assert leaves_words([Leaves("a", 0.0987, 0.0312)], 2) == "a ± 9.9 → 3.1 %"


def test_how_well_samples_may_be_met_is_noise_and_a_share_of_the_amplitude_there() -> None:
    """A sine of 5 m/s2 at 20 Hz through means of 1 ms: weakened by exp(-(w s)^2 / 2) (Fourier transform of a bell curve), and
    its square averaged is half of the amplitude's."""
    t = np.arange(0.0, 1.0, 5e-4)
    omega, sigma, share, noise = 2 * np.pi * 20.0, 1e-3, 0.02, 0.05
    a = 5.0 * np.sin(omega * t)[:, None] * np.array([[0.6, 0.8, 0.0]]) + np.array([[0.1, -0.2, 9.8]])
    rest = Rest(np.array([0.1, -0.2, 9.8]), noise, 0.0, np.zeros(0))
    eye = _eye(t, a, rest, sigma, 1e-3, share)
    assert np.diff(eye.t_s) == pytest.approx(np.full(len(eye.t_s) - 1, 1e-3))
    assert np.asarray(eye.means.sum(axis=1)).ravel() == pytest.approx(np.ones(len(eye.t_s)))
    middle = slice(100, -100)
    seen = 5.0 * np.exp(-0.5 * (omega * sigma) ** 2)
    along = (eye.a_m_s2 - rest.mean) @ np.array([0.6, 0.8, 0.0])
    assert along[middle] == pytest.approx(seen * np.sin(omega * eye.t_s[middle]), abs=0.01)
    # Of independent noise a mean with weights of a bell curve keeps the square root of spacing / (2 sqrt(pi) sigma).
    kept = 5e-4 / (2 * np.sqrt(np.pi) * sigma)
    assert eye.weight[middle].mean() == pytest.approx(1.0 / (noise**2 * kept + (share * seen) ** 2), rel=0.05)


def test_clock_and_start_are_turned_by_their_sigmas(monkeypatch: pytest.MonkeyPatch) -> None:
    """A clock 2 % fast is two sigma of 1 %; a record begun 3 ms later three turns of a millisecond."""
    one = SimpleNamespace(clock=1.02, start_s=0.7)
    fake: Any = SimpleNamespace(size=3, knobs=[SimpleNamespace(linear=True)], samples=[one], coarse=False, wider=[4.0])
    assert Problem.first.fget(fake).tolist() == pytest.approx([0.2, 0.0, 2.0])  # type: ignore[attr-defined]
    one.clock = 0.9
    assert Problem.first.fget(fake)[2] == -4.9  # type: ignore[attr-defined]
    x = np.array([0.0, 3.0, -1.5])
    assert Problem.when(fake, 0, x) == pytest.approx((0.703, 0.985))
    fake.when = lambda k, x: Problem.when(fake, k, x)
    pose = Pose(np.eye(3), 1 + 2 * GAIN_SIGMA, CONSTANT_SIGMA * np.array([1.0, 0.0, -1.0]))
    monkeypatch.setattr(problem_module, "laid_over", lambda *_: (pose, np.array([[2.0, 4.0]])))
    left = Problem.left_of_record(fake, 0, SimpleNamespace(felt=[None]), x)  # type: ignore[arg-type]
    assert left == pytest.approx([1.0, 2.0, 2.0, -1.5, 1.0, 0.0, -1.0])


def test_curves_of_a_record_stand_at_the_time_of_the_move(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sensor turned a quarter about Z, its gain 1.1, begun 0.5 s after the move: all three curves in the machine's axes, at
    (t - start) times the clock. The model knew X moving with 3 m/s2 for each second before, and 4 after; 0.2 off is measured.
    """
    turn = np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    pose = Pose(turn, 1.1, np.array([0.05, 0.0, -0.05]))
    t = 0.5 + np.linspace(0.0, 1.0, 50)

    def model(rate: float) -> Any:
        return SimpleNamespace(at=lambda when: rate * when[:, None] * np.array([1.0, 0.0, 0.0]) + UP)

    now, was = (0.5, 1.01), (0.52, 0.99)
    felt = model(4.0).at((t - now[0]) * now[1]) + 0.2 * np.array([1.0, 0.0, 0.0])
    fine = SimpleNamespace(a_m_s2=pose.reads(felt), weight=np.full(50, 4.0), means=np.eye(50), t_s=t)
    one: Any = SimpleNamespace(fine=fine, t_s=t, recording=SimpleNamespace(name="a.csv"), left_out=0.1)
    monkeypatch.setattr(found_module, "laid_best", lambda one, felt: was)
    left = {now: np.full((50, 3), 0.3), was: np.full((50, 3), 0.6)}
    monkeypatch.setattr(found_module, "laid_over", lambda one, felt, start, clock: (pose, left[start, clock]))
    found = found_module._judged(one, model(3.0), model(4.0), now, "check")
    assert found.curves.axis == "X"
    assert found.curves.t_s == pytest.approx((t - 0.5) * 1.01)
    assert found.curves.after == pytest.approx(4.0 * (t - 0.5) * 1.01)
    assert found.curves.before == pytest.approx(3.0 * (t - 0.52) * 0.99)
    assert found.curves.measured == pytest.approx(4.0 * (t - 0.5) * 1.01 + 0.2)
    assert (found.clock, found.gain, found.left_out, found.use) == (1.01, 1.1, 0.1, "check")
    assert found.unexplained_before == pytest.approx(2 * found.unexplained)
    signal = np.sqrt(np.mean((1.1 * (felt - UP) @ turn.T) ** 2))
    assert found.unexplained == pytest.approx(0.3 / np.sqrt(4.0) / signal)
    assert found.chi2 == pytest.approx(0.09)


def test_a_strand_sounds_by_mersennes_law_of_its_own_belt_and_pull() -> None:
    """sqrt(T / m) / 2 L, by hand: 16 N on 8 g/m over 250 mm are 89.4 Hz, 25 N on 10 g/m 100 Hz."""
    runs = [SimpleNamespace(belt=b, name=n, pretension_n=t) for b, n, t in (("a", "left", 16.0), ("b", "left", 25.0))]
    belts = [SimpleNamespace(name=b, spec=SimpleNamespace(mass_kg_m=m)) for b, m in (("a", 0.008), ("b", 0.01))]
    built: Any = SimpleNamespace(system=SimpleNamespace(runs=runs), machine=SimpleNamespace(belts=belts))
    for belt, hertz in (("a", np.sqrt(2000.0) / 0.5), ("b", 100.0)):
        assert pitch_hz(built, Pitch(belt, "left", 0.25, hertz, 1.0)) == pytest.approx(hertz)
    built.system.runs.append(SimpleNamespace(belt="a", name="right", pretension_n=64.0))
    assert pitch_hz(built, Pitch("a", "right", 0.25, 90.0, 1.0)) == pytest.approx(2 * np.sqrt(2000.0) / 0.5)


def test_a_push_is_felt_where_the_tool_stands() -> None:
    """A spring of 1 N/mm in the middle that stiffens by 0.1 N/mm for each millimetre to the right, by hand: 10 N give 10 mm
    there and 5 mm a centimetre on."""
    tool = np.array([[1.0, 0.0], [0.0, 1.0]])
    system = SimpleNamespace(
        middle=np.array([0.1, 0.1, 0.05]), n=2, rest=lambda place: place, tool_rows=tool,
        linear_stiffness=lambda q: np.diag([1e3 + 1e5 * (q[0] - 0.1), 4e3]),
    )  # fmt: skip
    machine = SimpleNamespace(tool_body=0, tool_point=None)
    built: Any = SimpleNamespace(system=system, machine=machine, kinematics=SimpleNamespace(at=lambda *_: tool))
    push = Push(0, 10.0, 1e-3, 1e-4, "tool", None)
    assert give_m(built, push) == pytest.approx(10e-3)
    assert give_m(built, replace(push, at_m=(0.11, 0.1))) == pytest.approx(5e-3)
    assert give_m(built, replace(push, axis=1, at_m=(0.15, 0.02))) == pytest.approx(2.5e-3)
    assert system.middle.tolist() == [0.1, 0.1, 0.05]


def test_slopes_of_a_plane_are_its_own() -> None:
    plane = np.array([[1.0, -2.0], [0.5, 4.0], [3.0, 0.0]])
    assert _slopes(lambda x: plane @ x + 7.0, np.array([0.3, -0.4])) == pytest.approx(plane, rel=1e-9)


def test_a_number_that_goes_with_another_is_told_as_it_stands_at_the_end() -> None:
    """A knob whose number is 100 N at no turn and 10 % more at each: one turn off either way, but twice all that in the end."""
    number = SimpleNamespace(key="k", keys=("k",), unit="N", value=90.0, low=50.0, high=150.0)
    knob: Any = SimpleNamespace(key="k", number=number, linear=False, value=lambda turn: 100.0 * 1.1**turn)
    found = found_module._learned(knob, 0.0, (1.0, 2.0), True, {"k": 200.0})
    assert (found.before, found.after) == (90.0, 200.0)
    assert (found.low, found.high) == pytest.approx((200.0 / 1.1, 242.0))
    assert (found.was_low, found.was_high, found.informed) == (50.0, 150.0, True)
    straight: Any = SimpleNamespace(key="k", number=number, linear=True, value=lambda turn: 10.0 * turn)
    below = found_module._learned(straight, 1.0, (3.0, 1.0), False, {"k": 10.0})
    assert (below.low, below.high) == (0.0, 20.0), "what is laid in a straight line does not go below nothing"


def test_a_strand_that_is_not_there_and_a_place_out_of_reach_are_refused() -> None:
    runs = [SimpleNamespace(belt="a", name=name) for name in ("left", "right")]
    reach = ((0.0, 0.2), (0.0, 0.15), (0.0, 0.1))
    built: Any = SimpleNamespace(system=SimpleNamespace(runs=runs), machine=SimpleNamespace(reach=reach))
    push = Push(0, 10.0, 1e-3, 1e-4, "tool", (0.2, 0.0))
    refuse_unknown(built, (Pitch("a", "left", 0.25, 90.0, 1.0),), (push, replace(push, at_m=None)), "m.toml")
    with pytest.raises(InputError, match='no such strand; there are "a left", "a right"'):
        refuse_unknown(built, (Pitch("b", "left", 0.25, 90.0, 1.0),), (), "m.toml")
    for place in ((0.21, 0.1), (0.1, 0.16), (-0.01, 0.1), (0.1, -0.01)):
        with pytest.raises(InputError, match="reach"):
            refuse_unknown(built, (), (replace(push, at_m=place),), "m.toml")


def test_what_a_measurement_leaves_is_two_sigma_of_the_number_the_most_told_first() -> None:
    """Widths of 10 % and 30 % for a turn: half as sure of the one, a quarter of the other; what hardly changes is left out."""
    knobs = [SimpleNamespace(key=k, width=w, linear=False) for k, w in (("a", 0.1), ("b", 0.3), ("c", 0.2))]
    posterior: Any = SimpleNamespace(sigma=np.array([0.5, 0.25, 0.999]), prior=np.ones(3))
    found = _leaves(SimpleNamespace(knobs=knobs), posterior)  # type: ignore[arg-type]
    assert [(one.key, one.before, one.after) for one in found] == [
        ("b", pytest.approx(0.3 * BAND_SIGMA), pytest.approx(0.075 * BAND_SIGMA)),
        ("a", pytest.approx(0.1 * BAND_SIGMA), pytest.approx(0.05 * BAND_SIGMA)),
    ]


def test_a_fundamental_counts_with_all_its_overtones() -> None:
    """A comb of equal teeth from 50 Hz: at 50 Hz the geometric sum of 0.8, at 100 Hz as much, for its overtones are there too."""
    hertz = np.arange(0.0, 2000.0, 1.0)
    height = np.where(hertz % 50 == 0, 1.0, 0.0)
    found = _harmonic_sum(hertz, height)
    whole = (1 - 0.8**HARMONICS) / (1 - 0.8)
    assert found[50] == pytest.approx(whole)
    assert found[100] == pytest.approx(whole)
    assert found[51] == 0.0, "nothing sounds there itself"


@pytest.mark.parametrize("start", [0.1, 0.8, -0.05])
def test_where_a_move_begins_in_a_record_is_found_however_late(start: float) -> None:
    """The same burst in a record of 1.3 s, so late that half of the shifts look as if they went backwards."""
    felt_t = np.arange(0.0, 0.3, 1e-3)

    def size(t: np.ndarray) -> np.ndarray:
        return 3.0 * np.exp(-(((t - 0.15) / 0.04) ** 2)) * np.abs(np.sin(2 * np.pi * 45 * t))

    t = np.arange(0.0, 1.3, 1e-3)
    found, clock, like = first_guess(t, size(t - start), felt_t, size(felt_t), np.array([1.0]))
    assert (found, clock) == (pytest.approx(start, abs=2e-3), 1.0)
    assert like > 0.95


def test_too_short_a_rest_is_told_by_how_long_it_was() -> None:
    """A record that begins at 3 s and moves 42 ms later, in steps of 2.5 ms."""
    t = 3.0 + np.arange(0.0, 0.5, 2.5e-3)
    a = np.random.default_rng(2).normal(0, 0.01, (len(t), 3)) + UP
    a[t > 3.046, 0] += 5.0
    columns = SimpleNamespace(t_s=t, a_m_s2=a, clipped=np.zeros(len(t), bool))
    with pytest.raises(InputError, match=r"rests 0\.04\d? s before the move") as caught:
        at_rest(SimpleNamespace(columns=columns, name="a.csv"), "m.toml")  # type: ignore[arg-type]
    told = float(str(caught.value).partition("rests ")[2].partition(" s")[0])
    smooth = np.flatnonzero(t > 3.0 + told - 1e-9)
    assert abs(t[smooth[0]] - 3.0 - told) < 1.3e-3, "a time of a sample from the first, to two figures"

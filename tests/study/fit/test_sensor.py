"""A sensor laid over what the model feels: pose against scipy's own solution, axes, units, clocks, clipping, rest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.errors import InputError
from beltspring.sim.study.fit.bench import Felt
from beltspring.sim.study.fit.columns import Columns, read_columns
from beltspring.sim.study.fit.found import laid_best
from beltspring.sim.study.fit.measured import Recording
from beltspring.sim.study.fit.problem import laid_over
from beltspring.sim.study.fit.samples import samples_of
from beltspring.sim.study.fit.sensor import best_pose
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation

from tests.built import G, Sensor, any_sensor, write_csv

UP = np.array([0.0, 0.0, G])


class Slopes:
    """What the model feels, of our own making: two pushes along one line, each with a ring that fades."""

    def __init__(self, along=(1.0, 0.15, 0.0), hertz=60.0, pause=0.4):
        self.along, self.hertz, self.pause = np.array(along), hertz, pause

    def __call__(self, t):
        a = np.zeros_like(t)
        for start, sign in ((0.0, 1.0), (self.pause, -1.0)):
            s = np.maximum(t - start, 0.0)
            a += sign * 8 * np.exp(-12 * s) * np.sin(2 * np.pi * self.hertz * s) * (t >= start)
        return a[:, None] * self.along


def felt(**how) -> Felt:
    return Felt(np.linspace(0.0, 1.0, 2001), Slopes(**how))


def record(sensor: Sensor, model: Felt, seed: int = 1, **how) -> Recording:
    rng = np.random.default_rng(seed)
    t = np.arange(0, sensor.rests_s + 1.2, 1 / sensor.rate_hz)
    real = model.at(t * sensor.clock - sensor.rests_s)
    a = sensor.gain * real @ sensor.turn.T + sensor.constant + rng.normal(0, sensor.noise, real.shape)
    a = np.clip(np.round(a / sensor.steps) * sensor.steps, -sensor.range, sensor.range)
    clipped = (np.abs(a) >= sensor.range - 1e-9).any(axis=1)
    return Recording("step.csv", Columns(t, a, clipped), "tool", (0.0, 0.0, 0.0), {}, **how)


def plain(**changes) -> Sensor:
    return replace(Sensor(np.eye(3), 1.0, np.zeros(3), 1.0), **changes)


def test_without_gain_and_constant_the_pose_is_that_of_scipy():
    # scipy.spatial.transform.Rotation.align_vectors solves the same problem of Wahba; a general-purpose library.
    rng = np.random.default_rng(4)
    for _ in range(5):
        f = rng.normal(size=(200, 3)) * [3.0, 1.0, 0.2] + UP
        turn = Rotation.random(random_state=int(rng.integers(1 << 30))).as_matrix()
        m = f @ turn.T + rng.normal(0, 0.01, f.shape)
        weight = rng.uniform(0.5, 2.0, len(f))
        found = best_pose(m, f, weight)
        other, _ = Rotation.align_vectors(m, f, weight)
        assert np.abs(found.turn - other.as_matrix()).max() < 2e-3
        assert np.abs(found.turn @ found.turn.T - np.eye(3)).max() < 1e-12
        assert np.linalg.det(found.turn) == pytest.approx(1.0)


def test_gain_and_constant_leave_least_of_all():
    """In closed form the pose is a minimum: no small change of any of it leaves less."""
    rng = np.random.default_rng(2)
    f = rng.normal(size=(300, 3)) * [4.0, 2.0, 0.5] + UP
    turn = Rotation.random(random_state=9).as_matrix()
    m = 1.02 * f @ turn.T + [0.3, -0.2, 0.1] + rng.normal(0, 0.1, f.shape)
    weight = np.full(len(f), 1 / 0.1**2)

    def left(turned, gain, constant):
        r = m - gain * f @ turned.T - constant
        return float((weight[:, None] * r**2).sum() + ((gain - 1) / 0.02) ** 2 + (constant**2).sum() / 0.8**2)

    pose = best_pose(m, f, weight)
    least = left(pose.turn, pose.gain, pose.constant)
    for _ in range(200):
        d = rng.normal(size=7) * 1e-3
        turned = Rotation.from_rotvec(d[:3]).as_matrix() @ pose.turn
        assert left(turned, pose.gain + d[3], pose.constant + d[4:]) >= least - 1e-9


@pytest.mark.parametrize("seed", range(4))
def test_any_pose_clock_gain_and_start_are_found(seed):
    model, sensor = felt(), any_sensor(np.random.default_rng(seed))
    one = samples_of(record(sensor, model, seed), model, "measured.toml")
    start, clock = laid_best(one, model)
    pose, left = laid_over(one, model, start, clock)
    # The sensor counts too few seconds by its clock, and rests 0.3 s by the move's.
    assert clock == pytest.approx(sensor.clock, abs=2e-4)
    assert start * clock == pytest.approx(0.3, abs=5e-4)
    assert pose.gain == pytest.approx(sensor.gain, abs=0.01)
    assert np.abs(pose.turn[:, 0] - sensor.turn[:, 0]).max() < 0.03  # along the move
    assert np.mean(left**2) < 1.3
    assert one.noise_m_s2 == pytest.approx(0.06, rel=0.1)


@pytest.mark.parametrize("axes", ["swapped", "turned", "tilted"])
def test_axes_that_do_not_lie_along_the_machine(axes):
    turn = {
        "swapped": np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]]),
        "turned": np.diag([-1.0, 1.0, -1.0]),
        "tilted": Rotation.from_euler("xyz", [12, -7, 33], degrees=True).as_matrix(),
    }[axes]
    model = felt(along=(1.0, 0.6, 0.0))
    one = samples_of(record(plain(turn=turn), model), model, "m")
    pose, left = laid_over(one, model, *laid_best(one, model))
    assert np.mean(left**2) < 1.3
    assert not pose.mirrored


def test_left_handed_axes_are_seen_where_the_move_shows_them():
    # Two columns swapped: no turn of a right-handed sensor reads that, once the move goes more than one way.
    swapped = np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    model = Felt(np.linspace(0, 1, 2001), _Two(Slopes((1.0, 0.0, 0.0)), Slopes((0.0, 1.0, 0.0), 83.0)))
    one = samples_of(record(plain(turn=swapped), model), model, "m")
    pose, left = laid_over(one, model, *laid_best(one, model))
    assert pose.mirrored
    assert np.mean(left**2) < 1.3


class _Two:
    def __init__(self, *parts):
        self.parts = parts

    def __call__(self, t):
        return sum(part(t) for part in self.parts)


def test_two_axes_are_enough():
    model, sensor = felt(), plain(turn=Rotation.from_euler("xyz", [4, -3, 50], degrees=True).as_matrix(), gain=1.01)
    whole = record(sensor, model)
    two = replace(whole, columns=replace(whole.columns, a_m_s2=whole.columns.a_m_s2[:, :2]))
    one = samples_of(two, model, "m")
    pose, left = laid_over(one, model, *laid_best(one, model))
    assert left.shape[1] == 2
    assert np.mean(left**2) < 1.3
    assert pose.gain == pytest.approx(1.01, abs=0.015)


def test_g_and_m_s2_are_the_same(tmp_path):
    model = felt()
    got = record(any_sensor(np.random.default_rng(5)), model)
    found = []
    for unit, time in (("m_s2", "s"), ("g", "ms")):
        path = write_csv(tmp_path / f"{unit}.csv", got.columns.t_s, got.columns.a_m_s2, unit, time)
        one = samples_of(replace(got, columns=read_columns(path)), model, "m")
        found.append((*laid_best(one, model), one.noise_m_s2))
    assert found[0] == pytest.approx(found[1], rel=1e-4)


def test_clipped_samples_get_no_weight_and_are_told():
    model, sensor = felt(), plain(range=10.2)  # gravity and a little: half of the swings along it are cut
    tilted = replace(sensor, turn=Rotation.from_euler("y", 60, degrees=True).as_matrix())
    got = record(tilted, model)
    assert 0.01 < got.columns.clipped.mean() < 0.4
    one = samples_of(got, model, "m")
    assert one.left_out > 0.01
    assert np.mean(laid_over(one, model, *laid_best(one, model))[1] ** 2) < 1.3
    blind = samples_of(
        replace(got, columns=replace(got.columns, clipped=np.zeros(len(got.columns.t_s), bool))), model, "m"
    )
    # With them it seems to swing less than it does: the check can fail.
    off = [laid_over(s, model, *laid_best(s, model))[0].gain - 1.0 for s in (one, blind)]
    assert abs(off[0]) < 0.01
    assert off[1] < -0.012


@pytest.mark.parametrize("clock", [0.8, 1.2, 1.25])
def test_a_clock_a_fifth_off_is_refused_and_told(clock):
    model = felt()
    with pytest.raises(InputError, match=r"its clock runs \d+ % (fast|slow); is the time column right"):
        samples_of(record(plain(clock=clock), model), model, "m")


def test_a_clock_a_few_per_cent_off_is_found():
    model = felt()
    for clock in (0.965, 1.027):
        one = samples_of(record(plain(clock=clock), model), model, "m")
        assert laid_best(one, model)[1] == pytest.approx(clock, abs=3e-4)


def test_too_short_a_rest_and_none_at_all_are_told():
    model = felt()
    with pytest.raises(InputError, match=r"rests 0\.0\d+ s before the move, 0\.2 s are needed to know the noise"):
        samples_of(record(plain(rests_s=0.06), model), model, "m")


def test_gravity_taken_off_and_wrong_units_are_told():
    model = felt()
    got = record(plain(), model)
    for a, words in (
        (got.columns.a_m_s2 - UP, "with gravity left in it"),
        (got.columns.a_m_s2 / G, "the columns are in g, so write ax_g"),
        (got.columns.a_m_s2 * G, "the columns are in m/s2 already"),
    ):
        with pytest.raises(InputError, match=words):
            samples_of(replace(got, columns=replace(got.columns, a_m_s2=a)), model, "m")


def test_another_move_is_told():
    with pytest.raises(InputError, match=r"is not the move that `set` says|its clock runs"):
        samples_of(record(plain(), felt(pause=0.9)), felt(pause=0.15), "m")


def test_gaps_and_missing_samples_cost_nothing():
    model = felt()
    whole = record(plain(), model)
    t = whole.columns.t_s
    keep = (np.random.default_rng(3).random(len(t)) > 0.1) & ~((t > 0.42) & (t < 0.48))
    less = replace(whole, columns=Columns(t[keep], whole.columns.a_m_s2[keep], whole.columns.clipped[keep]))
    ends = [laid_best(samples_of(r, model, "m"), model) for r in (whole, less)]
    assert ends[0] == pytest.approx(ends[1], abs=3e-4)


def test_a_spline_of_speeds_gives_their_slope():
    # What bench.py does, against the sine's own derivative: 100 Hz at rows half a millisecond apart, within 0.1 %.
    t = np.arange(0, 0.5, 5e-4)
    omega = 2 * np.pi * 100
    slope = CubicSpline(t, np.sin(omega * t)).derivative()(t[50:-50])
    assert np.abs(slope - omega * np.cos(omega * t[50:-50])).max() < 1e-3 * omega

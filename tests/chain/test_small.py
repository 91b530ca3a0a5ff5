"""Small parts of the chain by hand: what a job will take, what a trial keeps, torque against what there is, spans as one."""

from __future__ import annotations

import math
import threading
from types import SimpleNamespace

import numpy as np
import pytest
from beltspring.sim.analyse.cause import Behind
from beltspring.sim.analyse.moving import Moving
from beltspring.sim.chain.batch import _merged, _tasks
from beltspring.sim.chain.burden import MOST_BYTES, MOST_S, Burden, burden
from beltspring.sim.chain.buzz import Buzz, buzz_words, without_detent, without_friction
from beltspring.sim.chain.chain import prepare
from beltspring.sim.chain.few import Few
from beltspring.sim.chain.heard import Sounding, _why_off
from beltspring.sim.chain.judged import Judged, _reaching, between, of_corners
from beltspring.sim.chain.motion import middle_of
from beltspring.sim.chain.stand import Criteria, Sample, held_against
from beltspring.sim.chain.torque import motor_torques, torque_of
from beltspring.sim.model.modes import Mode
from beltspring.sim.model.motor import torque_limit
from beltspring.sim.simulate.run import run
from beltspring.sim.trace import Slip

from tests.support import bare, model_of, plan_of, shipped

DAY, HOUR = 86400.0, 3600.0


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.4, "about 0 seconds"), (119.9, "about 120 seconds"), (120.0, "about 2 minutes"), (7199.0, "about 120 minutes"),
        (2 * HOUR, "about 2 hours"), (47.9 * HOUR, "about 48 hours"), (2 * DAY, "about 2 days"), (12.34 * DAY, "about 12 days"),
        (1234 * DAY, "about 1234 days"),
    ],
)  # fmt: skip
def test_a_time_is_told_in_the_largest_unit_of_which_there_are_two(seconds, words):
    assert Burden(1.0, seconds, 0.0, 0.0).words == words


@pytest.mark.parametrize(
    ("memory", "disk", "words"),
    [
        (0.0, 1.01e8, "about 1 seconds, and a trace.csv of 101 MB"),
        (2.5e8, 0.0, "about 1 seconds, and 250 MB of memory"),
        (1.5e9, 1.2e11, "about 1 seconds, a trace.csv of 120 GB and 1.5 GB of memory"),
        (1e9, 0.0, "about 1 seconds, and 1 GB of memory"),
        (1e8, 1e8, "about 1 seconds"),
    ],
)
def test_what_it_leaves_is_told_where_it_is_much(memory, disk, words):
    assert Burden(1.0, 1.0, memory, disk).words == words


def test_only_what_goes_beyond_a_limit_is_a_long_job():
    assert (MOST_S, MOST_BYTES) == (600.0, 2e9)  # ten minutes, 2 GB
    assert not Burden(1.0, MOST_S, MOST_BYTES, MOST_BYTES).too_much
    for much in ((601.0, 0.0, 0.0), (0.0, 2.1e9, 0.0), (0.0, 0.0, 2.1e9)):
        assert Burden(1.0, *much).too_much


def test_rows_take_time_and_room_in_proportion_and_kept_ones_alone_memory():
    """Eight bytes a number (IEEE 754 double precision), and each row twice while rows are put together; writing a row
    takes longer than measuring it."""
    ready = prepare(shipped("desk-corexy"))
    few, many = (burden(ready.system, ready.plan, step, None, False) for step in (1e-3, 0.5e-3))
    assert many.memory_bytes == pytest.approx(2 * few.memory_bytes)
    rows = ready.plan.duration_s / 1e-3
    numbers = few.memory_bytes / rows / 8 / 2
    assert numbers == pytest.approx(round(numbers))
    system = ready.system
    # Time, places, motors and both positions and speeds of every coordinate at least.
    assert numbers >= 2 * system.n + 3 * len(system.motors) + len(system.runs) + 10
    assert numbers < 6 * system.n + 10 * len(system.motors) + len(system.runs) + 60
    assert burden(system, ready.plan, 1e-3, 100.0, False).memory_bytes == pytest.approx(few.memory_bytes * 100 / rows)
    assert burden(system, ready.plan, 1e-3, 1e9, False).memory_bytes == pytest.approx(few.memory_bytes)
    written = burden(system, ready.plan, 1e-3, None, True)
    assert 1e-6 * rows < written.seconds - few.seconds < 1e-4 * rows
    assert written.disk_bytes > 0
    assert few.disk_bytes == 0


def sample(**what):
    usual = {
        "peak_m": (math.nan, math.nan), "spots": (), "peaks_m": np.zeros(0), "slips": (), "slack_s": 0.0,
        "least_tension_n": 5.0, "most_torque_nm": np.zeros(2), "torque_share": np.array([math.nan, math.nan]),
        "stopped_s": None, "top_speed_m_s": 0.1, "move_s": 1.0,
    }  # fmt: skip
    return Sample(**{**usual, **what})


LIMITS = Criteria(ringing_m=20e-6, torque_share=0.7)


@pytest.mark.parametrize(
    ("what", "broken"),
    [
        ({}, ()),
        ({"peak_m": (20e-6, math.nan)}, ()),
        ({"peak_m": (math.nan, 21e-6)}, ("ringing",)),
        ({"torque_share": np.array([0.7, math.nan])}, ()),
        ({"torque_share": np.array([0.2, 0.71])}, ("torque",)),
        ({"peak_m": (30e-6, 25e-6), "torque_share": np.array([2.0, 0.1])}, ("torque", "ringing")),
        ({"peak_m": (90e-6, 25e-6), "torque_share": np.array([2.0, 0.1])}, ("ringing", "torque")),
        ({"slack_s": 1e-4}, ("slack",)),
        ({"slack_s": 1e-4, "peak_m": (90e-6, 0.0)}, ("ringing", "slack")),
        ({"slips": (Slip("a", 0.1, 0, 4, 2),)}, ("lost steps",)),
        ({"stopped_s": 0.5, "slack_s": 1.0}, ("run", "slack")),
    ],
)
def test_a_trial_is_held_against_what_it_must_keep(what, broken):
    found = held_against(sample(**what), 0.25, LIMITS)
    assert found.broken == broken
    assert found.holds == (not broken)
    assert found.value == 0.25
    peak = np.nanmax([0.0, *what.get("peak_m", (0.0,))]) / 20e-6
    share = np.nanmax([0.0, *what.get("torque_share", (0.0,))]) / 0.7
    assert found.used == pytest.approx(max(peak, share))


def test_steps_lost_by_all_motors_add_up_and_a_machine_without_belts_has_no_tension():
    slips = (Slip("a", 0.1, 4, 8, 3), Slip("b", 0.2, 8, 8, 2))
    found = held_against(sample(slips=slips, least_tension_n=math.inf), 1.0, LIMITS)
    assert (found.lost_steps, found.passages) == (12, 5)
    assert found.least_tension_n == 0.0
    assert found.ringing_m is None
    assert found.torque_share is None


def test_torque_is_told_as_a_share_of_what_there_is_at_that_speed():
    """At rest a motor of holding torque T gives T I / (sqrt 2 I_r) at most on one phase's sine; the share of the largest
    step stands for the rows between which it fell."""
    machine = prepare(shipped("desk-corexy"))
    spec = machine.system.motors[0].spec
    limit = float(torque_limit(spec, np.zeros(1))[0])
    given, speed = np.array([0.0, -0.1, 0.05]), np.zeros(3)
    found = torque_of(spec, given, speed, 0.0)
    assert found.share == pytest.approx(np.abs(given) / limit)
    assert found.most == pytest.approx(0.1 / limit)
    assert torque_of(spec, given, speed, 0.2).most == pytest.approx(0.2 / limit)
    assert torque_of(spec, np.zeros(3), speed, 0.2).most == 0.0


def test_ideal_motors_have_no_share_and_real_ones_have_that_of_every_step():
    scenario = bare("moving-bed", {"move.size_mm": 5, "move.settle_ms": 5})
    system = model_of(scenario)
    assert motor_torques(run(system, plan_of(scenario, system)), system) == {}
    ready = prepare(shipped("desk-corexy", {"detail": "simple", "move.size_mm": 20, "move.settle_ms": 20}))
    trace = run(ready.system, ready.plan)
    for j, (name, torque) in enumerate(motor_torques(trace, ready.system).items()):
        low, high = trace.extreme(f"torque_{name}")
        rows = np.abs(trace.motor_nm[:, j])
        assert max(-low, high) >= rows.max()
        assert torque.most == pytest.approx((torque.share).max() * max(-low, high) / rows.max())


def test_the_last_few_are_kept_and_each_is_made_once():
    kept, made = Few[str](2), []

    def get(key):
        return kept.get(key, lambda: made.append(key) or f"of {key}")

    assert [get("a"), get("b"), get("a")] == ["of a", "of b", "of a"]
    assert made == ["a", "b"]
    get("c")
    assert get("b") == "of b"
    assert made == ["a", "b", "c"]
    get("a")
    assert made == ["a", "b", "c", "a"]
    release, began = threading.Event(), threading.Event()

    def slowly():
        began.set()
        release.wait(20)
        return "once"

    asked = [threading.Thread(target=lambda: kept.get("d", slowly)) for _ in range(2)]
    for one in asked:
        one.start()
    assert began.wait(20)
    release.set()
    for one in asked:
        one.join(20)
    assert kept.get("d", lambda: "again") == "once"


def test_what_is_large_is_kept_by_its_weight_but_two_always():
    kept, made = Few[int](6, lambda size: size, 100), []

    def get(size):
        return kept.get(size, lambda: made.append(size) or size)

    assert [get(10), get(20), get(30), get(10), get(20), get(30)] == [10, 20, 30] * 2
    assert made == [10, 20, 30]
    assert [get(200), get(300), get(200), get(300)] == [200, 300] * 2  # two threads are at two of them
    assert made == [10, 20, 30, 200, 300]
    get(10)
    assert made[-1] == 10
    get(300)
    assert made[-1] == 10


def test_spans_that_meet_or_overlap_are_one():
    assert _merged([(3.0, 4.0), (0.0, 1.0), (1.0, 2.0), (3.5, 3.6)]).tolist() == [[0.0, 2.0], [3.0, 4.0]]
    assert _merged([]).shape == (0, 2)


def test_tasks_are_a_few_designs_at_one_pace_and_every_design_comes_at_every_pace_once():
    found = [(i, k) for mine, now in _tasks(70, 3) for k in now for i in mine]
    assert sorted(found) == [(i, k) for i in range(70) for k in range(3)]
    assert all(len(now) == 1 for _, now in _tasks(70, 3))
    assert len({tuple(mine) for mine, _ in _tasks(70, 3)}) > 1


def test_corners_are_judged_by_their_root_mean_square_and_told_from_tenth_to_ninetieth():
    """1 to 11 um: percentiles 10 and 90 of eleven even numbers are the second and the last but one."""
    peaks = np.array([*range(1, 12), math.nan]) * 1e-6
    found = of_corners(peaks)
    assert found.judged_m == pytest.approx(1e-6 * math.sqrt(sum(n * n for n in range(1, 12)) / 11))
    assert (found.least_m, found.most_m) == pytest.approx((2e-6, 10e-6))
    assert found.counted == 11
    assert found.by_corners
    assert of_corners(np.array([math.nan])) is None
    assert not Judged(1.0, 1.0, 1.0, 0.1, (0.1, 0.2), (), 13, peaks).by_corners
    assert not Judged(None, None, None, None, None, (0.1,), 0, peaks).by_corners


def test_two_lengths_have_the_larger_ones_unit_where_they_share_it():
    assert between(16e-6, 64e-6) == "16 to 64 µm"
    assert between(16e-6, 2e-3).endswith(" mm")
    assert between(16e-6, 2e-3).startswith("16 µm to ")


def test_a_plan_without_legs_is_in_the_middle_of_the_reach():
    ready = prepare(shipped("desk-corexy"))

    class Nothing:
        legs = ()

    assert middle_of(Nothing(), ready.machine) == pytest.approx(ready.machine.middle)
    ends = [p for leg in ready.plan.legs for p in (leg.start, leg.end)]
    for axis in range(3):
        mine = [p[axis] for p in ends]
        assert middle_of(ready.plan, ready.machine)[axis] == pytest.approx((min(mine) + max(mine)) / 2)


def test_what_is_taken_away_to_find_a_cause_is_next_to_nothing_and_all_else_stays():
    """A billionth of detent, Coulomb friction and bristles is left, so that the loop stays the one that is compiled."""
    system = prepare(shipped("desk-corexy")).system
    assert system.frictions
    smooth = without_friction(system)
    for before, after in zip(system.frictions, smooth.frictions, strict=True):
        for name in ("coulomb_n", "static_n", "sigma0_n_m", "sigma1_n_s_m"):
            assert getattr(after, name) == pytest.approx(1e-9 * getattr(before, name))
    assert smooth.motors == system.motors
    even = without_detent(system)
    assert [m.detent_nm for m in even.motors] == pytest.approx([1e-9 * m.detent_nm for m in system.motors])
    assert even.frictions == system.frictions
    ideal = prepare(shipped("desk-corexy", {"motors.part": "ideal", "detail": "simple"})).system
    assert without_detent(ideal) is None
    rigid = {f"{part}.guide": "rigid" for part in ("carriage", "gantry", "bed")}
    assert without_friction(prepare(shipped("desk-corexy", {**rigid, "detail": "simple"})).system) is None


@pytest.mark.parametrize(
    ("middle", "there", "heard", "said"),
    [
        (50.0, 50.0, 50.9, ""),
        (50.0, 40.0, 50.0, ""),
        (50.0, 50.5, 53.0, "guides that stick raise it"),
        (50.0, 50.5, 47.0, "large swings or modes beside it lower it"),
        (50.0, 60.0, 60.6, "where it rings the mode is at 60 Hz"),
        (50.0, 60.0, 63.0, "where it rings the mode is at 60 Hz and guides that stick raise it"),
        (50.0, 60.0, 58.0, "where it rings the mode is at 60 Hz and large swings or modes beside it lower it"),
    ],
)
def test_what_is_heard_beside_a_mode_says_why(middle, there, heard, said):
    """Two per cent off counts as the mode itself; the mode may be elsewhere where it rings, and friction or size shift it."""
    modes = (Mode(hz, 0.01, "", np.zeros(1), (1.0, 0.0)) for hz in (middle, there))
    assert _why_off(next(modes), Behind(heard, next(modes))) == said


def test_further_tones_are_told_once_each():
    def tone(hz, words):
        class Told(Behind):
            @property
            def words(self):
                return words

        return Told(hz, None if words == "nothing" else Mode(hz, 0.01, words, np.zeros(1), (1.0, 0.0)))

    ringing = SimpleNamespace(axis="x")
    one = Sounding(
        ringing, (tone(31.04, "a"), tone(40.0, "a"), tone(52.0, "b"), tone(60.0, "b"), tone(70.0, "nothing"))
    )
    assert one.words == "X rings at 31 Hz: a; beside it, at 52 Hz: b"
    assert one.frequency_hz == 31.04
    assert one.mode is not None


def test_legs_reach_their_speed_where_a_slower_plan_says_how_fast_they_would_go():
    """At three tenths of the speed each leg goes as fast as it is asked to: those that go ten thirds of that reach it all."""

    class Leg:
        def __init__(self, name, speed):
            self.name, self.start, self.cruise_speed_m_s = name, (0.0, 0.0, 0.0), speed

    class Legs:
        def __init__(self, *speeds):
            self.legs = [Leg(f"leg {i}", v) for i, v in enumerate(speeds)]

    slow = Legs(0.03, 0.03, 0.03, 0.03)
    assert _reaching(Legs(0.1, 0.1, 0.09, 0.1), slow) == 0.75
    assert _reaching(Legs(0.1), slow) == 1.0
    assert _reaching(Legs(0.1), Legs()) == 0.0


def test_what_buzzes_is_told_with_its_cause_and_what_nobody_sees_is_not():
    def shakes(peak_m, cause, asked, hz=84.0):
        return Buzz(Moving("x", peak_m, peak_m / 2, hz, 0.1, 3), cause, asked)

    found = {"x": shakes(12e-6, "detent", True), "y": shakes(30e-6, None, True, None)}
    assert buzz_words(found) == (
        "While it moves it buzzes by up to 12 µm in X at 84 Hz (the detent of the motors) and up to 30 µm in Y "
        "(neither detent nor friction alone)."
    )
    assert "cause not looked for" in buzz_words({"x": shakes(12e-6, None, False)})
    assert "friction of the guides" in buzz_words({"x": shakes(12e-6, "friction", True)})
    assert buzz_words({"x": shakes(4.9e-6, "detent", True), "y": None}) is None

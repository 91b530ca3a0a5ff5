"""What a run leaves, what is asked of it afterwards and what a job will leave: by hand, without a compiled loop."""

from __future__ import annotations

import math
import pickle
import threading
from types import SimpleNamespace as Made
from typing import Any

import numpy as np
import pytest
from beltspring.sim.chain import batch as batching
from beltspring.sim.chain import burden as burdens
from beltspring.sim.chain import buzz as buzzing
from beltspring.sim.chain import chain as chaining
from beltspring.sim.chain.batch import Feeds, Rig, judge
from beltspring.sim.chain.burden import burden
from beltspring.sim.chain.chain import Outcome, Prepared
from beltspring.sim.chain.motion import tuned
from beltspring.sim.chain.torque import torque_shares
from beltspring.sim.scenario.motion import ShaperSpec
from beltspring.sim.simulate.commands import extreme_names
from beltspring.sim.trace import Ending
from beltspring.viz.files.trace import columns_of

from tests.support import model_of, workshop

SYSTEM = model_of(workshop("corexy", {"detail": "simple"}))


def seen_by_hand(values: dict[str, tuple[float, float]], stopped: float | None = None) -> Any:
    """Three stretches of a run and four rows of it; extremes of the second by channel, all others nothing."""
    names = extreme_names(SYSTEM)
    low, high = (np.zeros((3, len(names))) for _ in range(2))
    for name, (least, most) in values.items():
        low[1, names.index(name)], high[1, names.index(name)] = least, most
    out = np.zeros((4, 2 * SYSTEM.n + len(SYSTEM.runs) + len(SYSTEM.motors)))
    turns = np.tile([0.0, 0.0, 0.0, -1.0], (len(SYSTEM.motors), 1))
    return Made(
        low=low, high=high, slack=np.array([0.25, 0.5]), turns=turns, t=np.arange(4) * 1e-3,
        commanded=np.zeros((4, 3)), out=out, stopped_s=stopped,
    )  # fmt: skip


def told(seen: Any, first: int, last: int, every_row: bool = False) -> Any:
    spots = tuple(Made(axis=a, leg=None, start_s=0.0, end_s=1.0, first=first, last=last) for a in (0, 1))
    feed = Made(wanted=None if every_row else np.zeros((1, 2)))
    ready = Made(
        spots=spots, rows=(slice(0, 4),) * 2, weights=(None, None), feed=feed, top_speed_m_s=0.2, plan=Made(move_s=3.0)
    )
    return batching._told(Made(system=SYSTEM), ready, seen)


def test_the_peaks_of_a_run_are_those_of_the_stretches_it_stands_still_in():
    names = extreme_names(SYSTEM)
    assert names[:2] == ("tool_x", "tool_y")
    rest = batching.tool_places(SYSTEM, np.zeros((1, SYSTEM.n)), np.zeros((1, 3)))[0]
    seen = seen_by_hand({"tool_x": (rest[0] - 7e-6, rest[0] + 3e-6), "tool_y": (rest[1] - 1e-6, rest[1] + 4e-6)})
    seen.low[[0, 2], :3], seen.high[[0, 2], :3] = rest, rest
    assert told(seen, 0, 1).peak_m == pytest.approx((7e-6, 4e-6), abs=1e-12)
    assert told(seen, 1, 1).peak_m == pytest.approx((7e-6, 4e-6), abs=1e-12)
    assert told(seen, 2, 2).peak_m == pytest.approx((0.0, 0.0), abs=1e-12)
    seen.stopped_s = 0.5
    assert np.isnan(told(seen, 0, 2).peak_m).all()


def test_tensions_and_torques_of_a_run_are_told_by_their_own_channels():
    """Every channel says another number, so that none is taken for its neighbour."""
    names = extreme_names(SYSTEM)
    seen = seen_by_hand({name: (100.0 + k, 200.0 + k) for k, name in enumerate(names)})
    seen.low[[0, 2]], seen.high[[0, 2]] = seen.low[1] + 5, seen.high[1] - 5
    found = told(seen, 0, 2)
    assert found.least_tension_n == 100.0 + min(k for k, name in enumerate(names) if name.startswith("tension_"))
    torques = [200.0 + k for k, name in enumerate(names) if name.startswith("torque_")]
    assert found.most_torque_nm.tolist() == torques
    assert np.isnan(found.torque_share).all(), "shares are of whole records only"
    assert (found.slack_s, found.top_speed_m_s, found.move_s, found.stopped_s) == (0.75, 0.2, 3.0, None)
    seen.low[1] = -1000.0
    assert told(seen, 0, 2).most_torque_nm.tolist() == [1000.0] * len(torques), "either way round"


def test_torques_are_shares_of_what_there_is_at_the_rotors_own_speed(monkeypatch):
    n, runs = SYSTEM.n, len(SYSTEM.runs)
    seen = seen_by_hand({})
    seen.out[:, 2 * n + runs :] = np.arange(len(SYSTEM.motors)) + 0.1
    seen.out[:, n : 2 * n] = np.arange(n)
    asked: list[tuple[Any, Any]] = []
    monkeypatch.setattr(batching, "share_of", lambda spec, given, speed, most: asked.append((given, speed)) or 0.4)
    assert told(seen, 0, 2, every_row=True).torque_share.tolist() == [0.4] * len(SYSTEM.motors)
    for j, (given, speed) in enumerate(asked):
        assert given.tolist() == [j + 0.1] * 4
        assert speed == pytest.approx(np.full(4, np.arange(n) @ SYSTEM.motors[j].row))
    for rows, known in ((3, True), (2, False)):
        seen.t, seen.out = seen.t[:rows], seen.out[:rows]
        seen.commanded = seen.commanded[:rows]
        assert np.isnan(told(seen, 0, 2, every_row=True).torque_share).any() != known


@pytest.mark.parametrize(("rows", "told"), [(3, True), (2, False)])
def test_motors_of_a_move_that_was_not_run_have_no_share(rows, told):
    trace: Any = Made(
        t_s=np.arange(rows) * 1e-3, motor_nm=np.full((rows, len(SYSTEM.motors)), 0.01),
        speeds=np.zeros((rows, SYSTEM.n)), rotor_rad_s={}, largest=lambda name: 0.01,
    )  # fmt: skip
    assert len(torque_shares(trace, SYSTEM)) == (len(SYSTEM.motors) if told else 0)


def test_ctrl_c_gives_up_what_the_threads_are_at_and_waits_for_no_machine_code(monkeypatch):
    left: list[Any] = []
    ran: list[threading.Thread] = []

    def block(designs: Any, paces: Any, feeds: Feeds) -> Any:
        ran.append(threading.current_thread())
        raise KeyboardInterrupt

    monkeypatch.setattr(batching, "_block", block)
    monkeypatch.setattr(batching, "rig_of", lambda one: Made(loop=None))
    monkeypatch.setattr(batching, "let_go", lambda threads: left.extend(threads))
    feeds = Feeds()
    with pytest.raises(KeyboardInterrupt):
        judge([object()], [0.9, 1.0], feeds=feeds)
    assert feeds.given_up.is_set()
    assert ran
    assert set(ran) <= set(left)


def test_motions_are_shared_by_designs_that_are_fed_alike_and_by_no_others():
    def rig(
        travel: float = 1.0, turn: float = 0.1, step_s: float = 1e-5, record_s: float = 1e-3, key: str = "a"
    ) -> Rig:
        system: Any = Made(tool_travel=np.full(2, travel), motors=[Made(increment_rad=turn)])
        return Rig(Made(key=key), system, np.zeros(1), step_s, record_s)

    assert rig().key == rig().key
    others = [rig(2.0), rig(1.0, 0.2), rig(step_s=2e-5), rig(record_s=2e-3), rig(key="b")]
    assert len({rig().key, *(one.key for one in others)}) == 6
    # Plans are cut alike for all steps but the shortest: four seconds in a hundred thousand steps.
    assert rig(step_s=5e-5).plan_key(1.0) == rig(2.0, step_s=9e-5).plan_key(1.0)
    assert rig(step_s=5e-5).plan_key(1.0) != rig(step_s=3e-5).plan_key(1.0)
    assert rig().plan_key(1.0) != rig().plan_key(0.9)
    sent = pickle.loads(pickle.dumps(Feeds(every_row=True, lanes=True, most=2)))
    assert (sent.every_row, sent.lanes, sent._feeds.most) == (True, True, 2)
    assert not sent.given_up.is_set()


MODE: Any = Made(frequency_hz=50.0, damping_ratio=0.02)


def shaken(
    monkeypatch: pytest.MonkeyPatch, peak_m: float = 9e-6, lasts_s: float = 60.0, mode: Any = MODE,
    fades_s: float | None = 0.1, stopped: float | None = None,
) -> tuple[Any, list[float]]:  # fmt: skip
    """Buzz of a run that shakes so much, and how long its ringing was to fade."""
    faded: list[float] = []

    def moving(trace: Any, plan: Any, axis: str, hz: float, fade_s: float) -> Any:
        faded.append(fade_s)
        return Made(peak_m=peak_m, axis=axis, at_s=0.5)

    monkeypatch.setattr(buzzing, "moving", moving)
    monkeypatch.setattr(buzzing, "_cause", lambda *_: "friction")
    ringing: Any = Made(fades_to_5_percent_s=fades_s)
    trace: Any = Made(stopped_at_s=stopped)
    plan: Any = Made(duration_s=lasts_s)
    return buzzing.buzz(SYSTEM, plan, trace, "x", mode, None if fades_s is None else ringing), faded


def test_a_moving_axis_is_looked_at_once_what_rings_has_faded_to_a_twentieth(monkeypatch):
    """exp(-2 pi f d t) = 1 / 20: of 50 Hz and 2 % after ln 20 / (2 pi 50 0.02) s."""
    own = math.log(20) / (2 * math.pi * 50 * 0.02)
    assert shaken(monkeypatch)[1] == pytest.approx([own])
    assert shaken(monkeypatch, fades_s=None)[1] == pytest.approx([own])
    assert shaken(monkeypatch, fades_s=2.0)[1] == [2.0]
    undamped: Any = Made(frequency_hz=50.0, damping_ratio=0.0)
    assert shaken(monkeypatch, mode=undamped)[1] == pytest.approx([20 * own]), "a thousandth at least"


def test_a_cause_is_asked_for_where_it_can_be_seen_in_a_move_of_a_minute(monkeypatch):
    for changes, asked in (
        ({}, True), ({"peak_m": 5e-6}, True), ({"peak_m": 4.9e-6}, False), ({"lasts_s": 60.5}, False), ({"stopped": 0.3}, False),
    ):  # fmt: skip
        found = shaken(monkeypatch, **changes)[0]
        assert (found.asked, found.cause) == ((True, "friction") if asked else (False, None))
    monkeypatch.setattr(buzzing, "moving", lambda *_: None)
    assert buzzing.buzz(SYSTEM, Made(), Made(), "x", MODE, None) is None


@pytest.mark.parametrize(
    ("left", "cause"),
    [
        ({"detent": 6e-6, "friction": 3e-6}, "friction"), ({"detent": 2e-6, "friction": 3e-6}, "detent"),
        ({"detent": 4e-6, "friction": 3e-6}, "friction"), ({"detent": 6e-6, "friction": 6e-6}, None),
        ({"detent": 5.2e-6, "friction": None}, None), ({"detent": None, "friction": 4.9e-6}, "friction"),
    ],
)  # fmt: skip
def test_the_cause_is_what_takes_more_than_half_of_ten_micrometres_with_it(monkeypatch, left, cause):
    monkeypatch.setattr(buzzing, "without_detent", lambda system: "detent")
    monkeypatch.setattr(buzzing, "without_friction", lambda system: "friction")
    steps: list[float] = []
    monkeypatch.setattr(
        buzzing, "run", lambda system, plan, step_s: steps.append(step_s) or Made(ending=Ending.COMPLETE, name=system)
    )
    monkeypatch.setattr(buzzing, "half_range_at", lambda run, axis, hz, at_s: left[run.name])
    found: Any = Made(peak_m=10e-6, axis="x", at_s=0.5)
    trace: Any = Made(t_s=np.array([0.0, 1e-3, 2e-3, 9e-3]))
    assert buzzing._cause(SYSTEM, Made(), trace, found, 50.0) == cause
    assert steps == pytest.approx([1e-3] * 2)
    monkeypatch.setattr(buzzing, "run", lambda *_: Made(ending=Ending.INTERRUPTED))
    with pytest.raises(KeyboardInterrupt):
        buzzing._cause(SYSTEM, Made(), trace, found, 50.0)
    monkeypatch.setattr(buzzing, "without_detent", lambda system: None)
    monkeypatch.setattr(buzzing, "without_friction", lambda system: None)
    assert buzzing._cause(SYSTEM, Made(), trace, found, 50.0) is None


def test_trace_csv_is_as_large_as_its_columns_make_it(monkeypatch):
    """Ten rows a millisecond apart, in steps of a tenth: what is foretold against the columns that are written, 13 letters a
    number: a sign, ten digits, a point and what parts it from the next."""
    monkeypatch.setattr(burdens, "longest_step", lambda system, record_s: 1e-4)
    plan: Any = Made(duration_s=0.01)
    found = burden(SYSTEM, plan, 1e-3, None, True)
    columns = columns_of([m.name for m in SYSTEM.motors], [(r.belt, r.name) for r in SYSTEM.runs])
    assert found.disk_bytes == pytest.approx(10 * 13 * len(columns))
    assert found.steps == pytest.approx(100)
    # A row: what the loop records and the coordinates again; 12 numbers of time and places; angle, torque and lag of a motor.
    recorded = 2 * SYSTEM.n + len(SYSTEM.runs) + len(SYSTEM.motors)
    assert found.memory_bytes == pytest.approx(10 * 2 * 8 * (12 + recorded + SYSTEM.n + 3 * len(SYSTEM.motors)))


def test_the_time_of_a_job_is_counted_by_steps_coordinates_arms_and_rows(monkeypatch):
    """A million steps of ten coordinates and three arms: 0.15 + 0.28 + 1.05 us each; ten thousand rows: 3 us each to
    measure and 20 us to write. Counted on a usual computer, our own choice; a person reads it in seconds and hours."""
    monkeypatch.setattr(burdens, "longest_step", lambda system, record_s: 1e-5)
    system: Any = Made(n=10, arms=[0] * 3, motors=[], runs=[])
    plan: Any = Made(duration_s=10.0)
    assert burden(system, plan, 1e-3, None, False).seconds == pytest.approx(1.48 + 0.03)
    assert burden(system, plan, 1e-3, None, True, 3.0).seconds == pytest.approx(3 * 1.51 + 0.2)


def test_a_tuned_shaper_has_its_modes_numbers_and_one_in_numbers_its_own():
    wanted = {"x": ShaperSpec("zero-vibration", "auto", 0.1), "y": ShaperSpec("zero-vibration", 40.0, 0.1)}
    modes: dict[str, Any] = {"x": Made(frequency_hz=61.0, damping_ratio=-0.01)}
    found = tuned(wanted, modes.__getitem__)
    assert (found["x"].frequency_hz, found["x"].damping, found["x"].own_mode) == (61.0, 0.0, True)
    assert found["y"] == wanted["y"]


@pytest.mark.parametrize(
    ("keep", "rows", "leg", "thinned"),
    [
        ("auto", 200_000, {}, False), ("auto", 200_100, {}, True), ("thinned", 10, {}, True), ("all", 1e6, {}, False),
        ("auto", 1e6, {"level": 1}, False), ("auto", 1e6, {"sweep_hz": (5, 100)}, False),
    ],
)  # fmt: skip
def test_of_many_rows_a_thinned_trace_is_kept_but_of_ladders_and_sweeps_all(monkeypatch, keep, rows, leg, thinned):
    monkeypatch.setattr(chaining, "record_spec", lambda scenario: Made(keep=keep, step_s=1e-3))
    legs = [Made(level=None, sweep_hz=None), Made(**{"level": None, "sweep_hz": None} | leg)]
    made = Prepared(None, None, None, Made(legs=legs, duration_s=rows * 1e-3), None)
    assert made.thinned is thinned


def ended(**what: Any) -> Outcome:
    usual = {"scenario": None, "machine": None, "system": None, "plan": None, "trace": None, "analysis": None}
    return Outcome(**usual | what)


def test_the_middle_of_a_move_lies_between_its_outermost_places():
    asked = np.array([(0.0, 1.0, 5.0), (4.0, -3.0, 5.0), (1.0, 1.0, 5.0)])
    assert ended(trace=Made(asked=asked)).middle == pytest.approx([2.0, -1.0, 5.0])
    assert ended(trace=Made(asked=asked[:0]), plan=Made(start=(1, 2, 3))).middle.tolist() == [1.0, 2.0, 3.0]


def test_what_moves_is_looked_at_in_whole_traces_of_patterns_that_are_no_chirp(monkeypatch):
    monkeypatch.setattr(chaining, "bare_modes", lambda system, place: ["modes"])
    monkeypatch.setattr(chaining, "swings_most", lambda system, known, column: "xy"[column] if column else None)
    monkeypatch.setattr(chaining, "buzz", lambda system, plan, trace, axis, mode, ringing: (axis, mode, ringing))

    def moving(thinned: bool = False, responses: tuple[int, ...] = ()) -> Any:
        trace = Made(thinned=thinned, asked=np.zeros((1, 3)))
        return ended(trace=trace, analysis=Made(responses=responses, ringing={"x": "rx", "y": "ry"})).moving

    assert moving() == {"x": None, "y": ("y", "y", "ry")}
    assert moving(thinned=True) == moving(responses=(1,)) == {"x": None, "y": None}


def test_the_worst_places_of_a_program_are_told_with_the_belts_that_hung_slack(monkeypatch):
    monkeypatch.setattr(chaining, "motion_limits", lambda scenario: "limits")
    monkeypatch.setattr(chaining, "shapers", lambda scenario: "shapers")
    monkeypatch.setattr(chaining, "place_cause", lambda *given: given)
    trace = Made(slips=("slip",), slack_s={"a": 0.0, "b": 1e-3})
    analysis = Made(ripples=Made(places=("here",)), behind={"x": (Made(words="belts"),)}, ringing={"x": 1})
    (found,) = ended(trace=trace, analysis=analysis).place_causes
    assert found == ("here", "limits", "shapers", {"x": 1}, {"x": ["belts"]}, ("slip",), ["b"])
    analysis.ripples = None
    assert ended(trace=trace, analysis=analysis).place_causes == []

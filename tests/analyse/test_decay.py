"""What is told of a free decay: closed forms it must find, what friction does to it, nonsense it must refuse."""

import time
from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.analyse import judge_decay
from beltspring.sim.analyse.ringing import ringdown as ringdowns
from beltspring.sim.analyse.ringing.decay import fit_damped, follow
from beltspring.sim.analyse.ringing.ringdown import envelope, ringdown
from beltspring.sim.analyse.ringing.stills import stand_stills
from beltspring.sim.analyse.ringing.tones import GRID, crest, search
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.tries import examples

T = np.arange(0.0, 0.35, 1e-3)


def wave(t, frequency, ratio, amplitude=80e-6, phase=0.3):
    """A damped sine by its damped frequency, m."""
    decay = ratio / np.sqrt(1 - ratio**2) * 2 * np.pi * frequency
    return amplitude * np.exp(-decay * t) * np.cos(2 * np.pi * frequency * t + phase)


@given(
    frequency=st.floats(12, 320),
    ratio=st.floats(0.0, 0.25),
    phase=st.floats(0, 6.28),
    slope=st.floats(-1e-5, 1e-5),
    amplitude=st.floats(1e-6, 1e-3),
    step=st.sampled_from([1e-3, 1e-4]),
    late=st.floats(0, 0.99),
)
# A swing that dies within its window has its largest A far above its frequency, or beyond what the rows can tell.
@example(206.0, 0.25, 3.0, 0.0, 1e-3, 1e-3, 0.875)
@example(276.25, 0.25, 6.0, 0.0, 8e-6, 1e-3, 0.98)
@settings(max_examples=examples(150))
def test_a_damped_sine_is_told_exactly(frequency, ratio, phase, slope, amplitude, step, late):
    t = np.arange(0.0, 0.35, step) + late * step
    found = judge_decay(t, wave(t, frequency, ratio, amplitude, phase) + slope * t)
    assert found.frequency_hz == pytest.approx(frequency, rel=3e-5)
    assert found.damping_ratio == pytest.approx(ratio, abs=3e-5)
    assert found.tones == ()
    if found.drift_hz is not None:
        assert found.drift_hz == pytest.approx((frequency, frequency), rel=3e-4)


@pytest.mark.parametrize(("frequency", "ratio"), [(48.0, 0.05), (71.0, 0.06), (120.0, 0.03)])
@pytest.mark.parametrize("step", [1e-4, 1e-3])
def test_it_fades_when_the_envelope_is_at_5_percent(frequency, ratio, step):
    # ln 20 over the decay rate (closed form).
    t = np.arange(0.0, 0.6, step)
    decay = ratio / np.sqrt(1 - ratio**2) * 2 * np.pi * frequency
    assert judge_decay(t, wave(t, frequency, ratio)).fades_s == pytest.approx(np.log(20) / decay, rel=0.01)


def test_what_does_not_fade_in_the_record_has_no_fade():
    found = judge_decay(T, wave(T, 40.0, 0.005))
    assert found.fades_s is None
    assert found.drift_hz is None
    assert found.frequency_hz == pytest.approx(40.0, rel=3e-5)


def coulomb(frequency, stop_m, start_m, t):
    """A mass on a spring with dry friction, released from start_m: half swings about +-stop_m until one ends within it.

    The textbook solution: each half swing is a cosine about the place where spring and friction balance, and its far
    end lies 2 stop_m nearer (Den Hartog, Mechanical Vibrations, free vibration with Coulomb damping; from memory).
    """
    out = np.empty_like(t)
    half, at, begin = 0.5 / frequency, start_m, 0.0
    for i, now in enumerate(t):
        while abs(at) > stop_m and now - begin >= half:
            at, begin = -(at - np.sign(at) * 2 * stop_m), begin + half
        centre = np.sign(at) * stop_m
        out[i] = at if abs(at) <= stop_m else centre + (at - centre) * np.cos(2 * np.pi * frequency * (now - begin))
    return out


@pytest.mark.parametrize(("stop_m", "tolerance"), [(1e-6, 0.003), (4e-6, 0.015), (8e-6, 0.03)])
def test_a_ring_down_that_friction_stops_still_tells_its_frequency(stop_m, tolerance):
    # Dry friction makes the envelope a straight line that ends at once; no damped sine has that shape, so the frequency
    # is a little off, the more so the fewer swings there are (35, 9 and 5 half swings here).
    y = coulomb(48.0, stop_m, 80e-6, T)
    assert judge_decay(T, y - y[-1]).frequency_hz == pytest.approx(48.0, rel=tolerance)


def test_a_frequency_that_rises_as_the_swing_dies_is_told_as_a_drift():
    # A chirp written down by hand: 60 Hz at first, 72 Hz in the end.
    phase = 2 * np.pi * (60.0 * T + 12.0 * (T - 0.06 * (1 - np.exp(-T / 0.06))))
    found = judge_decay(T, 40e-6 * np.exp(-T / 0.04) * np.cos(phase))
    first, last = found.drift_hz
    assert 60.0 < first < 66.0
    assert first + 3.0 < last < 72.0
    assert found.dies_below_m == pytest.approx(0.2 * found.amplitude_m)


@pytest.mark.parametrize(("other", "share"), [(210.0, 0.8), (14.0, 0.9)])
def test_of_two_tones_both_are_told(other, share):
    found = judge_decay(T, wave(T, 48.0, 0.03) + wave(T, other, 0.03, share * 80e-6, 1.0))
    # Three swings make a peak a third of its frequency wide; another tone's flank under it moves its top by some of that.
    assert sorted(tone.frequency_hz for tone in found.tones) == pytest.approx(sorted([48.0, other]), rel=0.11)
    assert found.frequency_hz in [tone.frequency_hz for tone in found.tones], "one tone, one number"


@pytest.mark.parametrize(
    "y", [80e-6 * np.exp(-T / 0.03), wave(T, 2.0, 0.05), wave(T, 8.0, 0.02)], ids=["a creep", "slow", "2.8 swings"]
)
def test_what_is_too_slow_for_its_stand_still_is_not_guessed(y):
    found = judge_decay(T, y)
    assert found.frequency_hz is None
    assert found.why == "too short to tell"


def test_too_few_rows_give_none():
    assert judge_decay(T[:5], wave(T[:5], 48.0, 0.03)) is None
    assert judge_decay(T[:0], T[:0]) is None
    assert judge_decay(T[:9], wave(T[:9], 48.0, 0.03)).why == "too short to tell"


def test_a_judgement_costs_no_more_than_some_large_products():
    # A ratio within one run, as the machine is shared: against eight Fourier transforms of 2^16 points (numpy).
    y, noise = wave(T, 63.0, 0.05), np.random.default_rng(1).normal(size=1 << 16)

    def best(work, times=15):
        spent = []
        for _ in range(times):
            begin = time.perf_counter()
            work()
            spent.append(time.perf_counter() - begin)
        return min(spent)

    assert best(lambda: judge_decay(T, y)) < best(lambda: [np.fft.rfft(noise) for _ in range(8)])


def test_the_envelope_falls_as_the_damped_sine_does_and_follows_what_it_swings_about():
    """Closed form: the crests of e^(-d t) sin fall by e^(-d s) in s, whatever slow drift lies under them."""
    t = np.arange(0.0, 0.5, 1e-3)
    hertz, decay = 60.0, 2 * np.pi * 60.0 * 0.04
    drift = 3e-6 + 5e-6 * t
    times, about, size = follow(t, 40e-6 * np.exp(-decay * t) * np.sin(2 * np.pi * hertz * t) + drift, 1e-3, hertz)
    assert size[50] / size[0] == pytest.approx(np.exp(-decay * (times[50] - times[0])), rel=0.01)
    later = times > 0.3
    assert about[later] == pytest.approx(np.interp(times[later], t, drift), abs=5e-8)


def test_the_search_is_as_fine_as_it_says_and_no_finer():
    """Steps of at most 3 %, from end to end, as few as that takes."""
    hertz, heights = search(T, wave(T, 20.0, 0.03), 10.0, 10.0 * GRID**39.5)
    assert len(hertz) == len(heights) == 41
    assert (hertz[0], hertz[-1]) == pytest.approx((10.0, 10.0 * GRID**39.5))
    assert hertz[1:] / hertz[:-1] == pytest.approx(np.full(40, GRID ** (39.5 / 40)))
    assert hertz[np.argmax(heights)] == pytest.approx(20.0, rel=0.04)


@pytest.mark.parametrize(("start", "reached"), [(40.0, True), (44.0, True), (60.0, True), (70.0, False), (75.0, False)])
def test_a_fit_stays_within_30_percent_of_where_it_began(start, reached):
    """Of a fading 48 Hz: it lies within 30 % of 40, 44 and 60 Hz, and not of 70 and 75."""
    found = fit_damped(T, wave(T, 48.0, 0.1), start)
    if reached:
        assert found.frequency_hz == pytest.approx(48.0, rel=1e-4)
        assert found.damping_ratio == pytest.approx(0.1, rel=1e-4)
    else:
        assert found is None


@pytest.mark.parametrize("late", [0.2, 0.5, 0.8])
def test_a_last_row_that_falls_between_two_is_passed_over(made, monkeypatch, late):
    """The end of a run stands in its last row, wherever that falls; what is judged is evenly spaced, and all there is."""
    plan = made.plan([(0, 0), (0.05, 0)], speed=0.1, acceleration=2.0, settle=0.0292)
    trace = made.trace(plan, deviation_x=lambda t: wave(t - plan.move_s, 120.0, 0.01))
    (still,) = stand_stills(trace, plan, 0)
    end = float(trace.t_s[-2] + late * 1e-3)
    cut = replace(trace, t_s=np.append(trace.t_s[:-1], end))
    judged = []
    monkeypatch.setattr(ringdowns, "judge_decay", lambda t, y: judged.append(t))
    ringdown(cut, replace(still, end_s=end), 0.05)
    assert np.diff(judged[0]) == pytest.approx(np.full(len(judged[0]) - 1, 1e-3), abs=1e-9)
    assert judged[0][-1] == pytest.approx(trace.t_s[-2] - still.start_s, abs=1e-9)


def test_a_record_as_long_as_a_window_has_one_and_a_shorter_one_none():
    """Three swings of 60 Hz are 50 ms: fifty rows, a millisecond apart."""
    for rows, windows in ((49, 0), (50, 1), (51, 2)):
        found = follow(T[:rows], wave(T[:rows], 60.0, 0.03), 1e-3, 60.0)
        assert [len(part) for part in found] == [windows] * 3


@pytest.mark.parametrize("top_hz", [39.0, 40.0, 40.6])
def test_a_crest_is_the_top_of_the_parabola_through_three_points(top_hz):
    """Over the logarithm of the frequency, in which the points are even: three points give the top exactly."""
    hertz = np.geomspace(20.0, 80.0, 47)
    heights = 3e-6 * (1 - np.log(hertz / top_hz) ** 2)
    found = crest(hertz, heights, int(np.argmax(heights)))
    assert found.frequency_hz == pytest.approx(top_hz, rel=1e-9)
    assert found.amplitude_m == pytest.approx(3e-6, rel=1e-9)


def test_the_envelope_goes_through_the_first_crest_and_falls_as_the_swing_does(made):
    """e^(-d t), closed form, about the place of rest; none where no frequency is told."""
    plan = made.plan([(0, 0), (0.05, 0)], settle=0.5)
    hertz, ratio = 60.0, 0.04
    swing = wave(np.arange(0.0, 0.5, 1e-4), hertz, ratio, phase=-np.pi / 2)
    trace = made.trace(
        plan,
        deviation_x=lambda t: np.where(
            t >= plan.move_s - 1e-9, 3e-6 + wave(np.clip(t - plan.move_s, 0, None), hertz, ratio, phase=-np.pi / 2), 0.0
        ),
    )
    (still,) = stand_stills(trace, plan, 0)
    down = ringdown(trace, still, 0.05 + 3e-6)
    found = envelope(trace, down)
    decay = ratio / np.sqrt(1 - ratio**2) * 2 * np.pi * hertz
    # Its first crest is a quarter of a period after the stop; the window sees it to some percent.
    assert found.size_m[0] == pytest.approx(swing.max(), rel=0.05)
    gone = found.time_s - found.time_s[0]
    assert found.time_s[0] == pytest.approx(plan.move_s, abs=1e-3)
    falls = found.size_m[0] * np.exp(-decay * gone)
    assert found.size_m[:200:50] == pytest.approx(falls[:200:50], rel=0.01)  # three periods apart: the same phase
    assert found.size_m[:200] == pytest.approx(falls[:200], rel=0.03)
    late = gone > 0.2
    assert found.about_m[late] == pytest.approx(np.full(late.sum(), 0.05 + 3e-6), abs=0.4e-6)
    assert envelope(trace, ringdown(trace, still, 0.05 + 3e-6, closely=False)) is None
    slow = made.trace(plan, deviation_x=lambda t: np.where(t >= plan.move_s, wave(t - plan.move_s, 2.0, 0.05), 0.0))
    (still,) = stand_stills(slow, plan, 0)
    assert envelope(slow, ringdown(slow, still, 0.05)) is None

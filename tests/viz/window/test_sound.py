"""The tool's ringing as a tone: the right pitch, no thump from what drifts, beside the clock, and no loudspeaker needed."""

from __future__ import annotations

import numpy as np
import pygame
import pytest
from beltspring.viz.window.sound import RATE_HZ, tone_of

from tests.viz.words import assert_words


def pitch_hz(tone):
    """The loudest frequency of one channel, by numpy's transform."""
    windowed = tone.astype(float) * np.hanning(len(tone))
    return float(np.fft.rfftfreq(8 * len(tone), 1 / RATE_HZ)[np.abs(np.fft.rfft(windowed, 8 * len(tone))).argmax()])


def test_each_axis_is_heard_at_its_own_frequency():
    t = np.arange(0.0, 1.0, 5e-4)
    drift = 300e-6 * np.sin(2 * np.pi * 3.0 * t) + 80e-6  # lag and friction: far larger than what rings
    x, y = (20e-6 * np.exp(-4 * t) * np.sin(2 * np.pi * hz * t) + drift for hz in (73.0, 84.0))
    tone = tone_of(t, x, y)
    assert tone.dtype == np.int16
    assert len(tone) == pytest.approx(RATE_HZ * t[-1], abs=2)
    middle = tone[RATE_HZ // 10 : RATE_HZ // 2]
    assert pitch_hz(middle[:, 0]) == pytest.approx(73.0, abs=1.0)
    assert pitch_hz(middle[:, 1]) == pytest.approx(84.0, abs=1.0)
    assert 0.75 * 32767 < np.abs(tone).max() <= 0.8 * 32767 + 1
    # Of the drift, fifteen times as large, nothing that would be heard as a thump is left.
    slow = np.abs(np.fft.rfft(tone[:, 0].astype(float)))[: int(10 * len(tone) / RATE_HZ)]
    assert slow.max() < 0.05 * np.abs(np.fft.rfft(tone[:, 0].astype(float))).max()


def test_what_does_not_ring_is_silence():
    t = np.arange(0.0, 0.5, 5e-4)
    assert not tone_of(t, np.zeros_like(t), np.full_like(t, 1e-3)).any()
    assert len(tone_of(t[:1], t[:1], t[:1])) == 0


def test_a_run_is_heard_as_it_is_told(desk):
    """After a stop the tone of the axis that rings most has the frequency that the run's analysis tells."""
    from beltspring.viz.charts.shown import Shown

    shown, axis = Shown(desk), desk.analysis.ringing_axis
    told = desk.analysis.ringing[axis]
    tone = tone_of(shown.t_s, shown.deviation_m["x"], shown.deviation_m["y"])
    stop = next(c for c in shown.corners if c.leg == told.leg) if hasattr(told, "leg") else shown.corners[-1]
    part = tone[round((stop.stop_s + 0.01) * RATE_HZ) : round(stop.end_s * RATE_HZ), "xy".index(axis)]
    assert pitch_hz(part) == pytest.approx(told.frequency_hz, rel=0.06)


class Speaker:
    """Stands for the loudspeaker."""

    def __init__(self, monkeypatch, driver="a real one"):
        self.log: list[tuple[str, int]] = []
        log = self.log

        class Sound:
            def __init__(self, buffer):
                self.samples = len(buffer) // 4

            def play(self, fade_ms=0):
                log.append(("play", self.samples))

            def fadeout(self, _ms):
                log.append(("stop", self.samples))

        monkeypatch.setattr(pygame.mixer, "init", lambda *a, **k: None)
        monkeypatch.setattr(pygame.mixer, "quit", lambda: log.append(("quit", 0)))
        monkeypatch.setattr(pygame.mixer, "get_driver", lambda: driver)
        monkeypatch.setattr(pygame.mixer, "Sound", Sound)


def test_it_follows_the_clock_at_full_speed_only(open_window, monkeypatch):
    speaker = Speaker(monkeypatch)
    hands = open_window(initial_screen="ringing")
    clock, sound = hands.app.clock, hands.app.sound
    clock.go(0.3)
    clock.playing, clock.speed_index = True, 0
    hands.step(dt=0.02)
    assert speaker.log == []  # off until wished for
    hands.key(pygame.K_m, words="m")
    assert sound.on
    assert_words(hands, "Sound: the tool's ringing")
    played = [n for what, n in speaker.log if what == "play"]
    assert played == [pytest.approx((clock.end_s - clock.time_s) * RATE_HZ, abs=0.03 * RATE_HZ)]
    for _ in range(5):
        hands.step(dt=0.02)
    assert [w for w, _ in speaker.log] == ["play"]  # beside the clock it is left alone
    clock.go(0.1)
    hands.step(dt=0.02)
    assert [w for w, _ in speaker.log] == ["play", "stop", "play"]
    clock.speed_index = 1
    hands.step(dt=0.02)
    assert [w for w, _ in speaker.log][-1] == "stop"
    hands.key(pygame.K_m, words="m")
    assert not sound.on
    assert speaker.log[-1][0] == "quit"


@pytest.mark.parametrize("why", ["dummy", "broken"])
def test_without_a_loudspeaker_a_word_says_so(open_window, monkeypatch, why):
    Speaker(monkeypatch, driver="dummy")
    if why == "broken":

        def broken(*_a, **_k):
            raise pygame.error("no device")

        monkeypatch.setattr(pygame.mixer, "init", broken)
    hands = open_window(initial_screen="ringing")
    hands.key(pygame.K_m, words="m")
    assert not hands.app.sound.on
    assert_words(hands, "No sound here")

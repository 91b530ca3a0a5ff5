"""The tool's ringing, heard: what swings audibly in its deviation, as a tone beside the clock at full speed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pygame
from numpy.typing import NDArray

from ..charts.shown import Shown

if TYPE_CHECKING:
    from .clock import Clock

RATE_HZ = 22050
#: What is heard, Hz: what an ear does not call a tone is left away at the low end, steps between rows at the high one.
LOW_HZ, HIGH_HZ = 25.0, 1000.0
#: Of full scale, and the smallest swing that is made a tone, m: below it there is nothing but rounding.
LOUD, LEAST_M = 0.8, 1e-9
#: The tone begins anew where the clock is farther than this from where it was to be, s.
JUMP_S = 0.03

ON = "Sound: the tool's ringing as a tone, X left and Y right, at speed 1×"


def tone_of(t_s: NDArray[np.float64], x_m: NDArray[np.float64], y_m: NDArray[np.float64]) -> NDArray[np.int16]:
    """Both axes' deviation as sound at its own frequencies, (samples, 2), as loud as its largest swing allows.

    t_s, x_m, y_m: (n,), times rising. Frequencies outside LOW_HZ to HIGH_HZ are taken out, with soft edges.
    """
    if len(t_s) < 3 or t_s[-1] <= t_s[0]:
        return np.zeros((0, 2), np.int16)
    count = int((t_s[-1] - t_s[0]) * RATE_HZ) + 1
    times = t_s[0] + np.arange(count) / RATE_HZ
    hz = np.fft.rfftfreq(2 * count, 1.0 / RATE_HZ)
    keep = np.clip((hz - 0.6 * LOW_HZ) / (0.4 * LOW_HZ), 0.0, 1.0) * np.clip(2.0 - hz / HIGH_HZ, 0.0, 1.0)
    heard = []
    for values in (x_m, y_m):
        even = np.interp(times, t_s, values)
        # Mirrored at its end, so that it ends where it began and no step is heard.
        swing = np.fft.irfft(np.fft.rfft(np.concatenate([even, even[::-1]])) * keep, 2 * count)
        heard.append(swing[:count])
    both = np.column_stack(heard)
    most = float(np.abs(both).max())
    return np.asarray(np.round(both * (LOUD * 32767 / most if most > LEAST_M else 0.0)), np.int16)


class Sound:
    """Off until it is wished for. Follows a clock: silent where it stands, jumps or runs slower than the machine."""

    def __init__(self) -> None:
        self.on = False
        self._tone: tuple[int, NDArray[np.int16]] | None = None
        self._next_s: float | None = None
        self._playing: pygame.mixer.Sound | None = None

    def toggle(self, speed: float) -> str:
        """On or off; returns what to say. speed: of the clock."""
        if self.on:
            self.close()
            return "Sound off"
        trouble = _open()
        if trouble:
            return f"No sound here: {trouble}"
        self.on = True
        return ON if speed == 1.0 else f"{ON}; the clock runs slower now"

    def follow(self, clock: Clock, shown: Shown, dt: float, heard: bool) -> None:
        """Keep beside the clock after dt, s. heard: whether what the clock moves is in view."""
        if not self.on:
            return
        if not (heard and clock.playing and clock.speed == 1.0):
            self._silence()
            return
        beside = self._next_s is not None and abs(clock.time_s - self._next_s - dt) < JUMP_S
        if not beside or self._tone is None or self._tone[0] != shown.serial:
            self._begin(shown, clock.time_s)
        self._next_s = clock.time_s

    def _begin(self, shown: Shown, time_s: float) -> None:
        """The tone from a time on."""
        self._silence()
        if self._tone is None or self._tone[0] != shown.serial:
            off = shown.deviation_m
            # Between the rows of a thinned trace the swing is not seen, so that it cannot be heard.
            few = shown.trace.thinned
            tone = np.zeros((0, 2), np.int16) if few else tone_of(shown.t_s, off["x"], off["y"])
            self._tone = (shown.serial, tone)
        rest = self._tone[1][max(0, round(time_s * RATE_HZ)) :]
        if len(rest):
            self._playing = pygame.mixer.Sound(buffer=np.ascontiguousarray(rest).tobytes())
            self._playing.play(fade_ms=5)

    def _silence(self) -> None:
        if self._playing is not None:
            self._playing.fadeout(15)
        self._playing, self._next_s = None, None

    def close(self) -> None:
        """Silent, and the loudspeaker is given back."""
        if self.on:
            self._silence()
            pygame.mixer.quit()
        self.on, self._tone = False, None


def _open() -> str:
    """Open the loudspeaker; "" if it is there, else why not."""
    try:
        pygame.mixer.init(RATE_HZ, -16, 2, 512, allowedchanges=0)
        if pygame.mixer.get_driver() != "dummy":
            return ""
        pygame.mixer.quit()
    except (pygame.error, NotImplementedError, ImportError, AttributeError):
        # Built without sound, or no loudspeaker: the picture says it all, too.
        pass
    return "this computer has no loudspeaker that can be opened"

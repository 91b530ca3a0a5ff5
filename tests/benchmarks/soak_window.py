"""Ten minutes of somebody working the window quickly, off screen: no exception, no growing memory. Not a test of pytest.

    python tests/benchmarks/soak_window.py [--minutes 10] [--seed 1]

Random but repeatable: keys, drags, wheels, clicks, sheets, screens, sizes. The warm-up is the first minute, or the first
thousand steps where a loaded machine needs longer for them: by then every screen was seen. Two measures decide. What stays:
with nothing running, sheets closed and all settings back, memory grows by at most 50 MB from the warm-up's end to the last
step. What a small machine has to have: at no moment more than 300 MB. Beside them stands how far the largest moment lies over
the one sample at the warm-up's end; it decides no longer, as that sample may be any between the smallest of a minute and the
largest, which lie a hundred megabytes apart while machines are asked behind a comparison (of a move of twelve seconds, say).
Told, too: the processor's time of a step, which a person feels from 100 ms on, and what each minute's largest and smallest
memory were: what leaks raises the smallest. `tour_window.py` is the same for what is left behind.
"""

from __future__ import annotations

import argparse
import gc
import random
import sys
import threading
import time

import numpy as np
import pygame
from beltspring.sim.scenario.load import load_scenario
from beltspring.viz.window.app import App
from beltspring.viz.window.memory import give_back, settled
from beltspring.viz.window.runs import run_changed

SIZES = ((1280, 800), (1600, 1000), (1024, 680), (1920, 1080))
KEYS = (
    *(pygame.K_SPACE, pygame.K_LEFT, pygame.K_RIGHT, pygame.K_HOME, pygame.K_END, pygame.K_UP, pygame.K_DOWN),
    *(pygame.K_LEFTBRACKET, pygame.K_RIGHTBRACKET, pygame.K_t, pygame.K_s, pygame.K_TAB, pygame.K_TAB, pygame.K_RETURN),
    *(pygame.K_BACKSPACE, pygame.K_q, pygame.K_w, pygame.K_o, pygame.K_p, pygame.K_1, pygame.K_2, pygame.K_3),
    *(pygame.K_4, pygame.K_F1, pygame.K_ESCAPE, pygame.K_ESCAPE, pygame.K_ESCAPE),
)
MOST_GROWTH_MB = 50.0
MOST_MB = 300.0


def memory_mb() -> float:
    """Memory that this process has for itself, MB (Linux; elsewhere the peak, which only grows): pages of libraries come and
    go with what else the machine does."""
    try:
        with open("/proc/self/status", encoding="ascii") as status:
            return sum(int(line.split()[1]) / 1024 for line in status if line.startswith(("RssAnon", "RssShmem")))
    except OSError:
        import resource

        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


class Worker:
    """Makes up what a hurried person does."""

    def __init__(self, app: App, seed: int) -> None:
        self.app = app
        self.chance = random.Random(seed)
        self.pos = (100, 100)

    def events(self) -> list[pygame.event.Event]:
        """A handful of events for one step."""
        chance = self.chance.random()
        if chance < 0.35:
            return self._keys()
        if chance < 0.75:
            return self._drag()
        if chance < 0.9:
            return [
                self._move(),
                pygame.event.Event(pygame.MOUSEWHEEL, x=0, y=self.chance.choice((-1, 1)), flipped=False),
            ]
        if chance < 0.93:
            return [pygame.event.Event(pygame.TEXTINPUT, text=self.chance.choice("0123456789. kg"))]
        return []

    def _move(self) -> pygame.event.Event:
        shown = [c for c in self.app.input.controls if c.rect.w > 0]
        control = self.chance.choice(shown)
        # Saving, exporting and opening files is not what is soaked here.
        if control.name in ("save", "save file", "export", "open path", "open"):
            control = self.app.frame.top_bar.tabs[0]
        self.pos = (
            self.chance.randint(control.rect.left, max(control.rect.left, control.rect.right - 1)),
            self.chance.randint(control.rect.top, max(control.rect.top, control.rect.bottom - 1)),
        )
        return pygame.event.Event(pygame.MOUSEMOTION, pos=self.pos, rel=(0, 0), buttons=(0, 0, 0))

    def _drag(self) -> list[pygame.event.Event]:
        out = [self._move(), pygame.event.Event(pygame.MOUSEBUTTONDOWN, pos=self.pos, button=1)]
        x, y = self.pos
        for _ in range(self.chance.randint(0, 6)):
            x, y = x + self.chance.randint(-40, 40), y + self.chance.randint(-15, 15)
            out.append(pygame.event.Event(pygame.MOUSEMOTION, pos=(x, y), rel=(0, 0), buttons=(1, 0, 0)))
        out.append(pygame.event.Event(pygame.MOUSEBUTTONUP, pos=(x, y), button=1))
        self.pos = (x, y)
        return out

    def _keys(self) -> list[pygame.event.Event]:
        mod = pygame.KMOD_SHIFT if self.chance.random() < 0.2 else 0
        key = self.chance.choice(KEYS)
        if self.chance.random() < 0.15:
            mod, key = (
                pygame.KMOD_CTRL,
                self.chance.choice((pygame.K_1, pygame.K_2, pygame.K_3, pygame.K_4, pygame.K_5, pygame.K_z)),
            )
        up = pygame.event.Event(pygame.KEYUP, key=key, mod=mod)
        return [pygame.event.Event(pygame.KEYDOWN, key=key, mod=mod, unicode="", scancode=0), up]


def main() -> int:
    """Work the window; 0 if memory stayed in bounds."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    result = run_changed(load_scenario("desk-corexy"), {})
    with settled():
        return soak(App([result], size=SIZES[0]), args.minutes, args.seed)


def stays(app: App, surface: pygame.Surface, longest_s: float = 120.0) -> float:
    """Memory with nothing running, sheets closed and the settings as opened, MB."""
    app.deck.close_sheet()
    app.frame.lessons.end()
    app.clock.playing = False
    app.deck.show(app.deck.named("ringing"))
    app.session.defaults()
    app.wait_until_ready()
    until = time.monotonic() + longest_s
    while threading.active_count() > 1 and time.monotonic() < until and _busy(app):
        app.step(0.02, [], surface)
        time.sleep(0.02)
    gc.collect()
    give_back()
    return memory_mb()


def _busy(app: App) -> bool:
    """Whether machines are asked behind a comparison, or a job of another screen runs."""
    return any(getattr(s, "running", False) or getattr(getattr(s, "verdicts", None), "asked", None) is not None
               for s in app.deck.screens)  # fmt: skip


def soak(app: App, minutes: float, seed: int) -> int:
    """Work a window for some minutes; 0 if memory stayed in bounds."""
    surface = pygame.Surface(app.size, 0, 32)
    worker = Worker(app, seed)
    app.step(0.0, [], surface)
    begun = time.monotonic()
    first, settled_at_first, steps, high, most = 0.0, 0.0, 0, 0.0, 0.0
    took: list[float] = []
    seen: dict[int, list[float]] = {}
    while (spent := time.monotonic() - begun) < 60 * minutes:
        if steps % 300 == 299:
            app.resize(worker.chance.choice(SIZES))
            surface = pygame.Surface(app.size, 0, 32)
        events = worker.events()
        start = time.thread_time()
        app.step(1 / 60, events, surface)
        took.append((time.thread_time() - start) * 1e3)
        app.alive = True
        steps += 1
        if steps % 20:
            continue
        now = memory_mb()
        if spent > min(60.0, 20 * minutes) and steps > 1000 and not first:
            first, settled_at_first = now, stays(app, surface)
        most = max(most, now)
        high = max(high, now) if first else 0.0
        seen.setdefault(int(spent // 60), []).append(now)
    settled_at_last = stays(app, surface)
    app.close()
    for minute, values in seen.items():
        print(f"minute {minute + 1}: {min(values):.0f} to {max(values):.0f} MB")
    median, slow, slower, worst = np.percentile(took, [50, 99, 99.9, 100])
    print(
        f"a step, ms of the processor: {median:.0f}, slowest hundredth {slow:.0f}, thousandth {slower:.0f}, worst {worst:.0f}"
    )
    print(f"{steps} steps without an exception; at most {most:.0f} MB, reach {MOST_MB:.0f};"
          f" {high - first:.1f} MB over the one sample of {first:.0f} MB after the warm-up")  # fmt: skip
    grown = settled_at_last - settled_at_first
    print(
        f"what stays grew by {grown:.1f} MB over the {settled_at_first:.0f} MB after the warm-up, reach {MOST_GROWTH_MB:.0f}"
    )
    return 0 if grown <= MOST_GROWTH_MB and most <= MOST_MB else 1


if __name__ == "__main__":
    sys.exit(main())

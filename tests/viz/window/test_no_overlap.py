"""No two words overlap, on any screen, at any size and scale, in both themes, for any shipped machine.

CI looks at a sample, chosen by the seed; `python tests/viz/window/test_no_overlap.py` at all of it.
"""

from __future__ import annotations

import itertools
import random
import sys
from functools import lru_cache

import pygame
import pytest
from beltspring.sim import load, shipped
from beltspring.viz.draw import text
from beltspring.viz.window.app import App
from beltspring.viz.window.runs import run_changed

SIZES = ((1024, 680), (1280, 800), (1920, 1080), (2560, 1440))
SCALES = (0.8, 1.0, 1.5, 2.12, 2.5)
THEMES = ("dark", "light")
STATES = ("mixing", "give", "rung", "path", "ringing", "corner", "motors", "moves", "compare", "print", "wall")
EVERY = list(itertools.product([s.name for s in shipped()], STATES, SIZES, SCALES, THEMES))
SAMPLE, SEED = 24, 16


@lru_cache(maxsize=16)
def report(name):
    return run_changed(load(name), {})


def pose(app, state):
    """Bring the window into a state."""
    screen = app.screen
    if state in ("give", "rung"):
        screen.set_mode(1)
        (screen.give.again if state == "rung" else lambda: screen.give.pull_with(screen.give._last_n))()
    elif state == "path":
        screen.set_mode(2)
    elif state == "wall":
        screen.seen.value = 1
    elif state == "motors":
        screen.below.value = 1
    elif state == "corner":
        corners = app.session.shown.corners
        app.clock.go(corners[len(corners) // 2].stop_s + 0.004 if corners else 0.0)


def screen_of(state):
    return {
        "give": "mixing",
        "rung": "mixing",
        "path": "mixing",
        "corner": "ringing",
        "motors": "ringing",
        "wall": "print",
    }.get(state, state)


def overlaps(name, state, size, scale, theme):
    """Pairs of words that cover each other, (text, text)."""
    app = App([report(name)], size=size, scale=scale, theme=theme, initial_screen=screen_of(state))
    surface = pygame.Surface(size, 0, 32)
    try:
        app.step(0.0, [], surface)
        app.wait_until_ready()
        pose(app, state)
        app._dirty = True
        with text.Log() as log:
            app.step(0.0, [], surface)
    finally:
        app.close()
    found = []
    # What is clipped away is not seen; letters' edges may touch.
    inks = [(w.text, w.rect.clip(w.clip).inflate(-2, -round(0.24 * w.size))) for w in log.words]
    inks = [(words, ink) for words, ink in inks if ink.w > 0 and ink.h > 0]
    for k, (words, ink) in enumerate(inks):
        for other, rect in inks[k + 1 :]:
            if ink.colliderect(rect):
                found.append((words, other))
    return found


@pytest.mark.parametrize("case", random.Random(SEED).sample(EVERY, SAMPLE), ids=lambda c: "-".join(map(str, c)))
def test_no_two_words_overlap(case):
    assert overlaps(*case) == []


def main():
    """All of them, or those whose name holds a word given; what overlaps is printed."""
    cases = [c for c in EVERY if all(a in "-".join(map(str, c)) for a in sys.argv[1:])]
    bad = 0
    for case in cases:
        found = overlaps(*case)
        bad += bool(found)
        if found:
            print(*case, found[:6], flush=True)
    print(f"{len(cases)} looked at, {bad} with words that overlap")


if __name__ == "__main__":
    main()

"""No two words overlap, on any screen, at any size and scale, in both themes, for any shipped machine; no card cuts one.

CI looks at a sample, chosen by the seed: every state once, on three machines; `python -m tests.viz.window.overlap` at all.
"""

from __future__ import annotations

import random

import pytest

from tests.viz.window.overlap import NAMES, STATES, Poser, views

SEED, MACHINES = 16, 3
#: Left to the whole grid, as they run many designs: the search, and Compare where each design takes a second.
LONG = ("sheet search", "sheet fit")
COMPARED = "spring-mass"


def sample() -> dict[str, list[tuple[str, tuple]]]:
    """State and view by machine."""
    chance = random.Random(SEED)
    names = [COMPARED, *chance.sample([n for n in NAMES if n != COMPARED], MACHINES - 1)]
    out = {name: [] for name in names}
    for state in STATES:
        compares = "compare" in state or state == "sheet designs"
        if state not in LONG:
            out[COMPARED if compares else chance.choice(names)].append((state, chance.choice(views())))
    return out


SAMPLE = sample()


@pytest.mark.parametrize("name", SAMPLE)
def test_no_two_words_overlap(name):
    poser = Poser(name)
    try:
        for state, view in SAMPLE[name]:
            if poser.there(state):
                poser.pose(state)
                poser.see(view)
                assert poser.found(state) == [], (state, view)
    finally:
        poser.close()

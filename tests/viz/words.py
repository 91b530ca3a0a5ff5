"""Looking for words in what the window draws."""

from __future__ import annotations

from beltspring.viz.draw import text


def assert_words(hands, words, there=True):
    """Words are drawn somewhere, maybe broken over lines."""
    hands.app._dirty = True
    with text.Log() as log:
        hands.step(dt=0.0)
    everything = " ".join(w.text for w in log.words)
    assert (words in everything) == there, everything

"""The shipped scenarios say what they said; `python -m tests.golden` stores what they say now."""

from __future__ import annotations

import json

import pytest

from tests.golden.numbers import FREQUENCY_SHARE, PEAK_SHARE, STORE, names, numbers

KNOWN = json.loads(STORE.read_text(encoding="utf-8"))


def test_every_shipped_scenario_is_stored():
    assert sorted(KNOWN) == sorted(names())


@pytest.mark.parametrize("name", sorted(KNOWN))
def test_numbers_are_those_stored(name):
    now = numbers(name)
    assert list(now) == list(KNOWN[name])
    for key, value in now.items():
        share = FREQUENCY_SHARE if key.endswith("Hz") else PEAK_SHARE
        assert value == pytest.approx(KNOWN[name][key], rel=share, abs=1e-3), f"{name}: {key}"

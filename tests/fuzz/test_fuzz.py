"""A seeded sample of the campaign, and every case that once fell over."""

from __future__ import annotations

import random
import signal
import time

import pytest

from tests.fuzz.campaign import KEPT, KINDS, campaign, fault_of, smaller

pytestmark = pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="needs an alarm against what hangs")
KEPT_CASES = sorted(KEPT.glob("*.txt"))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_nothing_thrown_falls_over(seed):
    thrown, found = campaign(seed, cases=220)
    assert found == []
    assert set(thrown) == set(KINDS)


@pytest.mark.parametrize("path", KEPT_CASES, ids=lambda path: path.stem)
def test_what_once_fell_over_stands(path, tmp_path):
    kind = path.name.partition("-")[0]
    assert fault_of(kind, path.read_bytes().decode("utf-8"), tmp_path) is None


def test_about_half_of_what_is_thrown_is_sound(tmp_path, monkeypatch):
    # A grammar whose every word is refused at the door tests the door only.
    from beltspring.sim.errors import BeltspringError

    r = random.Random(5)
    for kind in ("scenario", "program", "prices", "measured", "samples"):
        make, read, _ = KINDS[kind]
        sound = 0
        for _ in range(40):
            (tmp_path / "case").write_text(make(r), encoding="utf-8", newline="")
            try:
                read(tmp_path / "case")
                sound += 1
            except BeltspringError:
                pass
        assert sound >= 6, kind


def test_the_campaign_sees_what_hangs(tmp_path, monkeypatch):
    text = "G1 X1\nG90 G17 Y5\nG1 X2"
    assert fault_of("program", text, tmp_path) is None
    monkeypatch.setitem(KINDS, "program", (KINDS["program"][0], hanging, 0.35))
    monkeypatch.setattr("tests.fuzz.campaign.LONGEST_S", 0.05)
    assert fault_of("program", text, tmp_path) == "Hung: longer than 0.05 s"


def hanging(path):
    time.sleep(5)


def test_a_fault_is_made_as_small_as_it_can_be(tmp_path, monkeypatch):
    def tripping(path):
        if "G17" in path.read_text():
            raise RuntimeError("tripped")

    monkeypatch.setitem(KINDS, "program", (KINDS["program"][0], tripping, 0.35))
    text = "G1 X1\nG90 G17 Y5\nG1 X2"
    assert smaller("program", text, "RuntimeError: tripped", tmp_path) == "G17"

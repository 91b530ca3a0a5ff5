"""Which number decides: first-order shares of functions whose shares are known, and how a number is measured."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.machine.build import build_machine, uncertain_numbers
from beltspring.sim.scenario.index import key_at
from beltspring.sim.scenario.load import load_scenario
from beltspring.sim.scenario.source import shipped_scenarios
from beltspring.sim.study.deciding import first_order, how_to_measure, least_share, plain_name, told_shares
from scipy.stats import norm, qmc


def test_a_sum_has_the_shares_of_its_squares() -> None:
    """y = 3 x1 + 2 x2 + x3 of independent normals: 9/14, 4/14, 1/14 by the sum of variances (any text on statistics)."""
    shares = qmc.Sobol(4, seed=3).random(4096)
    y = norm.ppf(np.clip(shares[:, :3], 1e-6, 1 - 1e-6)) @ [3.0, 2.0, 1.0]
    assert first_order(shares, y, classes=32) == pytest.approx([9 / 14, 4 / 14, 1 / 14, 0], abs=0.02)


def test_ishigami() -> None:
    """sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1 (Ishigami and Homma, 1990): 0.3139, 0.4424, 0 (published values, from memory)."""
    shares = qmc.Sobol(3, seed=5).random(8192)
    x = np.pi * (2 * shares - 1)
    y = np.sin(x[:, 0]) + 7 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])
    assert first_order(shares, y, classes=64) == pytest.approx([0.3139, 0.4424, 0.0], abs=0.02)


def test_chance_alone_stays_below_the_least_share() -> None:
    rng = np.random.default_rng(7)
    found = first_order(rng.random((128, 400)), rng.normal(size=128))
    assert np.mean(found > least_share(128)) < 0.06


def test_told_shares_never_come_to_more_than_the_whole() -> None:
    # Three numbers that came out in step by chance: each seems to decide half. By hand 0.6, 0.5 and 0.4 of 1.5; 0.04 is chance.
    assert told_shares(np.array([0.6, 0.5, 0.04, 0.4]), 128) == pytest.approx([0.4, 1 / 3, 0.0, 0.8 / 3])
    assert told_shares(np.array([0.6, 0.1, 0.0]), 128) == pytest.approx([0.6, 0.1, 0.0])
    assert not told_shares(np.zeros(0), 128).size


def test_what_does_not_vary_or_is_not_known_has_none() -> None:
    shares = np.random.default_rng(1).random((128, 2))
    assert np.all(first_order(shares, np.full(128, 3.0)) == 0)
    assert np.all(first_order(shares, np.full(128, np.nan)) == 0)
    y = shares[:, 0].copy()
    y[:20] = np.nan
    assert first_order(shares, y)[0] > 0.9


@pytest.mark.parametrize("name", [s.name for s in shipped_scenarios()])
def test_every_uncertain_number_has_a_name_and_a_way_to_measure_it(name: str) -> None:
    for number in uncertain_numbers(build_machine(load_scenario(name))):
        assert "_" not in plain_name(number), number.key
        how = how_to_measure(number)
        assert not how.startswith("measure it"), number.key
        wanted = how.rpartition("write ")[2].split(" ")[0]
        assert "." not in wanted or key_at(tuple(wanted.split("."))) is not None or number.of[0] == "motors", how


def test_the_least_share_is_two_sigma_of_chance_and_a_twentieth_at_least() -> None:
    """Of a number that decides nothing omega squared scatters by sqrt(2 (k - 1)) / n over k classes of n draws (variance of
    chi squared with k - 1 degrees of freedom, any text on statistics)."""
    assert least_share(64) == pytest.approx(2 * np.sqrt(14) / 64)
    assert least_share(64, 4) == pytest.approx(2 * np.sqrt(6) / 64)
    assert least_share(100_000) == 0.05


def test_numbers_are_called_by_what_they_are() -> None:
    named = {plain_name(n) for n in uncertain_numbers(build_machine(load_scenario("desk-corexy")))}
    parts = ("belts", "rotors", "frame", "guides", "feet")
    assert {f"damping of the {part}" for part in parts} <= named
    assert {"stiffness of the belts", "break-away friction"} <= named

"""The band of a natural frequency, by hand where one spring holds it all, and against machines built with another spring."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.chain.bands import SPRINGS, STEP, mode_bands, spring_changes
from beltspring.sim.machine.build import build_machine
from beltspring.sim.model.bands import stiffer
from beltspring.sim.model.build import build_model
from beltspring.sim.model.modes import Mode, modes
from beltspring.sim.model.system import System
from beltspring.sim.parts.design import Drawn, Uncertain
from beltspring.sim.scenario.load import load_scenario
from beltspring.sim.scenario.schema import Scenario
from numpy.typing import NDArray


def test_one_spring_by_hand() -> None:
    """f = sqrt(k / m) / 2 pi (any text on vibrations): an EA of 12000 to 22000 for 18000 N makes f sqrt of the same ratios."""
    scenario = load_scenario("spring-mass", ["band.belts.ea_n=[12000, 22000]"])
    system = build_model(build_machine(scenario))
    known = modes(system)
    band = mode_bands(scenario, system, [(system.middle, known)])[0]
    for mode, (low, high) in zip(known, band, strict=True):
        assert low == pytest.approx(mode.frequency_hz * np.sqrt(12 / 18), rel=2e-3)
        assert high == pytest.approx(mode.frequency_hz * np.sqrt(22 / 18), rel=2e-3)


def test_nothing_uncertain_has_no_width() -> None:
    scenario = load_scenario("spring-mass")
    system = build_model(build_machine(scenario))
    known = modes(system)
    band = mode_bands(scenario, system, [(system.middle, known)])[0]
    assert band == pytest.approx(np.array([[m.frequency_hz] * 2 for m in known]))


@pytest.mark.parametrize("detail", ["simple", "full"])
@pytest.mark.parametrize("name", ["desk-corexy-slot", "desk-corexy", "moving-bed-wheels"])
def test_slopes_are_those_of_machines_built_anew(name: str, detail: str) -> None:
    """The same small change of each spring, by a whole new machine and its eigenvalues: Rayleigh's quotient is stationary.

    The whole machine also damps as its stiffness says and lags with its belts; that is second order in the damping.
    """
    scenario = load_scenario(name, [f"detail={detail}"])
    system = build_model(build_machine(scenario))
    known = modes(system)
    numbers = [
        n for n in system.machine.design.uncertain if n.of[-1] in ("ea_n", "joint_nm_per_rad", "holding_torque_nm")
    ]
    for number in numbers:
        drawn = Drawn()
        drawn.put(number, number.value * 1.002)
        built = [m.frequency_hz for m in modes(build_model(build_machine(scenario, drawn)))]
        slope = np.log(np.array(built) / [m.frequency_hz for m in known]) / np.log(1.002)
        assert slope == pytest.approx(told_slope(scenario, system, known, number), abs=4e-3)


def told_slope(scenario: Scenario, system: System, known: list[Mode], number: Uncertain) -> NDArray[np.float64]:
    """d ln f / d ln k of one uncertain number, from the change that the bands are made of."""
    springs = dict.fromkeys(n.draw for n in system.machine.design.uncertain if n.of[-1] in SPRINGS)
    _, higher = spring_changes(scenario, system)[list(springs).index(number.draw)]
    q, shapes = system.rest(system.middle), np.array([m.shape for m in known])
    whole, more = (
        np.einsum("ki,ij,kj->k", shapes, k, shapes) for k in (system.linear_stiffness(q), stiffer(system, higher, q))
    )
    return np.asarray(more / whole / 2 / np.log(number.at(STEP) / number.value))


def test_two_belts_on_one_shaft_have_the_band_of_their_drive() -> None:
    """The second belt of layout box has no table of its own in the file: its EA is that of belt y."""
    from tests.support import workshop

    scenario = workshop("box")
    system = build_model(build_machine(scenario))
    (bands,) = mode_bands(scenario, system, [(system.middle, modes(system, system.middle))])
    assert (bands[:, 0] < bands[:, 1]).all()

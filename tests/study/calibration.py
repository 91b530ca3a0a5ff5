"""Whether 8 of 10 machines lie where `spread` says: machines drawn by another sampler, counted. Slow; not run by pytest.

    python -m tests.study.calibration                   # both, as many machines as are asked for by hand
    python -m tests.study.calibration --machines 40     # a quick look at the desk machine

The mass on a spring is judged by its closed form (see `judged_by_hand`) at frequencies that are the product of two
log-normals; the desk machine, which has none, by simulation. Neither sampler shares a line with `sim.study.draws`: numpy's
own normals, cut at three by throwing away, against scrambled Sobol points through the inverse of a normal distribution.
"""

from __future__ import annotations

import argparse

import numpy as np
from beltspring.sim.chain.batch import judge, rig_of
from beltspring.sim.chain.chain import Prepared, prepare
from beltspring.sim.chain.judged import paces_of, verdict
from beltspring.sim.machine.build import build_machine, uncertain_numbers
from beltspring.sim.model.build import build_model
from beltspring.sim.parts.design import Drawn
from beltspring.sim.scenario.load import load_scenario, with_changes
from beltspring.sim.scenario.schema import Scenario
from beltspring.sim.study.spread import Spread, spread

#: A mass on a spring, neither damped nor rubbing: its belt's EA and its mass are all that is uncertain.
FREE = {
    "belts.damping": 0,
    "band.belts.ea_n": [13000, 25000],
    "band.carriage.mass_g": [400, 500],
}
#: Long strands hardly change over a travel of 20 mm, so that one frequency serves for the whole move.
LONG = {"space.x_mm": 2000, "frame.width_mm": 2400}


def cut_normal(count: int, seed: int) -> np.ndarray:
    """Standard normals cut at three, by throwing away what lies beyond: numpy's own sampler."""
    z = np.random.default_rng(seed).normal(size=2 * count)
    return z[np.abs(z) < 3][:count]


def two_piece(value: float, low: float, high: float, z: np.ndarray) -> np.ndarray:
    """A log-normal in two pieces, two sigma to either end of its band, written out here once more."""
    if value == 0.0:
        return high * np.abs(z) / 2
    return value * np.where(z > 0, (high / value) ** (z / 2), (low / value) ** (-z / 2))


def judged_by_hand(hertz: np.ndarray, acceleration: float, speeds: np.ndarray, travel: float) -> np.ndarray:
    """What a trapezoidal move leaves of an undamped mass on a spring: two ramps of the length v / a, travel / v apart.

    A = (4 a / w^2) |sin(w v / 2 a)| |sin(w s / 2 v)|: Fourier transform of the acceleration (any text on vibrations). Root
    mean square over the speeds, (machines,).
    """
    w = 2 * np.pi * hertz[:, None]
    left = 4 * acceleration / w**2 * np.abs(np.sin(w * speeds / (2 * acceleration)) * np.sin(w * travel / (2 * speeds)))
    return np.asarray(np.sqrt((left**2).mean(axis=1)))


def spring_mass(machines: int, draws: int, seed: int) -> tuple[float, Spread, np.ndarray]:
    """(share inside, what is told, judged ringing of the machines, um) of the mass on a spring, by its closed form."""
    scenario = with_changes(load_scenario("spring-mass"), {**FREE, **LONG})
    paces = paces_of(prepare(scenario))
    assert paces is not None
    found = spread(scenario, draws)
    ratio = np.sqrt(
        two_piece(18000, 13000, 25000, cut_normal(machines, seed)) / 18000
        * 450 / two_piece(450, 400, 500, cut_normal(machines, seed + 1))
    )  # fmt: skip
    hertz = np.median(found.answers["x_hz"].values) * ratio
    by_hand = judged_by_hand(hertz, 3.0, 0.1 * np.array(paces.factors), 0.020) * 1e6
    return inside(found, by_hand), found, by_hand


def simulated(scenario: Scenario, machines: int, draws: int, seed: int) -> tuple[float, Spread, np.ndarray]:
    """The same of any scenario, its machines built from numbers drawn here and simulated at the judged speeds."""
    ready = prepare(scenario)
    paces, numbers = paces_of(ready), uncertain_numbers(ready.machine)
    assert paces is not None
    columns = {draw: cut_normal(machines, seed + k) for k, draw in enumerate(dict.fromkeys(n.draw for n in numbers))}
    built = []
    for i in range(machines):
        drawn = Drawn()
        for n in numbers:
            drawn.put(n, float(two_piece(n.value, n.low, n.high, columns[n.draw][i : i + 1])[0]))
        machine = build_machine(scenario, drawn)
        built.append(Prepared(scenario, machine, build_model(machine), ready.plan, ready.motion))
    trials = judge([rig_of(one) for one in built], paces.factors)
    told = [verdict(t, one, paces) for t, one in zip(trials, built, strict=True)]
    judged = np.array([1e6 * j.judged_m if j is not None and j.judged_m is not None else np.nan for j in told])
    found = spread(scenario, draws)
    return inside(found, judged), found, judged


def inside(found: Spread, judged_um: np.ndarray) -> float:
    """Share of machines between what is told as the ends of 8 of 10."""
    told = found.answers["judged_um"]
    return float(np.mean((judged_um >= told.low) & (judged_um <= told.high)))


def main() -> None:
    """Count, and print."""
    parser = argparse.ArgumentParser(description="machines inside the range that spread tells")
    parser.add_argument("--machines", type=int, default=200, help="of the desk machine (default 200)")
    parser.add_argument("--draws", type=int, default=256, help="machines that spread itself draws (default 256)")
    args = parser.parse_args()
    for seed in (21, 41, 61):
        share, found, _ = spring_mass(1000, args.draws, seed)
        told = found.answers["judged_um"]
        print(
            f"spring-mass, seed {seed}: {100 * share:.1f} % of 1000 in {told.low:.1f} to {told.high:.1f} um (reach 76 to 84)"
        )
    share, found, _ = simulated(load_scenario("desk-corexy", ["detail=simple"]), args.machines, args.draws, 101)
    told = found.answers["judged_um"]
    print(
        f"desk, simple: {100 * share:.1f} % of {args.machines} in {told.low:.1f} to {told.high:.1f} um (reach 72 to 88)"
    )


if __name__ == "__main__":
    main()

"""The whole recovery: `python -m tests.study.fit.campaign --truths 24 --wrong 6 --full 3` prints the counts. By hand: it
takes some ten minutes of processor time."""

from __future__ import annotations

import argparse
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from beltspring.sim import load
from beltspring.sim.scenario.schema import Scenario
from beltspring.sim.study.fit.columns import Columns
from beltspring.sim.study.fit.found import Fitted, fit
from beltspring.sim.study.fit.measured import Measured, Recording

from tests.built import SQUARE, STEP_X, STEP_Y, BuiltMachine, any_sensor, built_like

BELTS, X, Y = "belts.ea_n", "frame.stiffness_x_n_per_mm", "frame.stiffness_y_n_per_mm"
FRICTION = ("carriage.friction_n", "gantry.friction_n")
#: A fit that leaves no more than this of each record has found the machine.
RECOVERED = 0.05


def measured_on(machine: BuiltMachine, seed: int, check: bool = True) -> Measured:
    """Steps along X and Y, and a square held out, by one sensor that is put on three times."""
    rng = np.random.default_rng(1000 + seed)
    records = []
    for name, asked in (("step-x", STEP_X), ("step-y", STEP_Y), *((("square", SQUARE),) if check else ())):
        t, a = machine.reads(any_sensor(rng), asked, rng)
        at = (0.0, 0.02, 0.035)
        columns = Columns(t, a, np.zeros(len(t), np.bool_))
        records.append(Recording(name, columns, "tool", at, dict(asked), name == "square"))
    return Measured("measured", record=tuple(records))


@dataclass(frozen=True)
class Judged:
    """One fit against its truth. errors: by key, relative.  z: of the informed numbers, in their own sigma on that side.

    held_out: rms of the tool's deviation over the square, fitted against true, as a share of the true one's; before: of the
    model as told.
    """

    seed: int
    explains: bool
    refused: str
    chi2: float
    errors: dict[str, float]
    z: np.ndarray
    held_out: float
    before: float
    starts: int
    cpu_s: float


def judged(machine: BuiltMachine, found: Fitted, told_as: Scenario, seed: int, cpu_s: float) -> Judged:
    """How near a fit came. told_as: the scenario before it, of the fit's own detail, which may be another than the truth's."""
    errors, z = {}, []
    for p in found.parameters:
        if p.key not in machine.truth:
            continue
        true = machine.truth[p.key]
        errors[p.key] = p.after / true - 1
        sigma = np.log(p.high / p.after if true > p.after else p.after / p.low) / 2
        if p.informed and told_as.file.detail == machine.scenario.file.detail:
            z.append(np.log(p.after / true) / sigma)
    after, before = (deviations(machine, scenario) for scenario in (found.scenario, told_as))
    return Judged(
        seed, found.explains, found.refused, found.chi2 or 0.0, errors, np.array(z), after, before, found.starts, cpu_s
    )


def deviations(machine: BuiltMachine, fitted: Scenario) -> float:
    """Rms over the square of the fitted tool's deviation less the true one's, as a share of the true one's."""
    true = machine.simulated(SQUARE, 1e-3)[0]
    other = replace(machine, written=fitted, truth={}).simulated(SQUARE, 1e-3)[0]
    n = min(len(true.t_s), len(other.t_s))
    mine, own = ((t.tool - t.commanded)[:n, :2] for t in (true, other))
    return float(np.sqrt(np.mean((own - mine) ** 2) / np.mean(mine**2)))


def one(task: tuple[str, str, int]) -> Judged:
    """One machine of a detail, fitted by a model of another."""
    built, modelled, seed = task
    scenario = load("desk-corexy", [f"detail={built}"])
    machine = built_like(scenario, seed)
    measured = measured_on(machine, seed)
    mine = load("desk-corexy", [f"detail={modelled}"])
    began = time.process_time()
    found = fit(mine, measured)
    cpu = time.process_time() - began
    return judged(machine, found, mine, seed, cpu)


def told(rows: list[Judged], title: str) -> None:
    """The counts of some fits."""

    def median(keys: tuple[str, ...]) -> float:
        return float(np.median([100 * abs(r.errors[k]) for r in rows for k in keys]))

    z = np.concatenate([r.z for r in rows]) if rows else np.zeros(1)
    near = sum(r.explains and r.held_out <= RECOVERED for r in rows)
    print(
        f"{title}: {len(rows)} machines, {sum(not r.explains for r in rows)} refused, {near} recovered, "
        f"{sum(r.explains and r.held_out > RECOVERED for r in rows)} wrong without saying so"
    )
    print(
        f"  median |error| %: EA {median((BELTS,)):.2f}, kx {median((X,)):.2f}, ky {median((Y,)):.2f}, "
        f"friction {median(FRICTION):.2f}; z rms {np.sqrt(np.mean(z**2)) if len(z) else 0:.2f}"
    )
    held, before = ([getattr(r, name) for r in rows] for name in ("held_out", "before"))
    print(f"  held out: {np.median(before):.2f} -> {np.median(held):.4f} (90 %: {np.percentile(held, 90):.4f}); "
          f"chi2 {min(r.chi2 for r in rows):.2f} to {max(r.chi2 for r in rows):.2f}; "
          f"starts {[r.starts for r in rows]}; CPU s median {np.median([r.cpu_s for r in rows]):.1f}, "
          f"most {max(r.cpu_s for r in rows):.1f}")  # fmt: skip


def main() -> None:
    """Run the counts asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    for name, many in (("truths", 24), ("wrong", 6), ("full", 3)):
        parser.add_argument(f"--{name}", type=int, default=many)
    parser.add_argument("--workers", type=int, default=1)
    args = parser.parse_args()
    kinds = (
        ("right model, simple", "simple", "simple", args.truths),
        ("wrong model: built full, fitted simple", "full", "simple", args.wrong),
        ("right model, full", "full", "full", args.full),
    )
    for title, built, modelled, many in kinds:
        tasks = [(built, modelled, seed) for seed in range(1, many + 1)]
        rows = []
        with ProcessPoolExecutor(args.workers) as pool:
            for row in pool.map(one, tasks):
                rows.append(row)
                print(f"  {row.seed}: chi2 {row.chi2:.2f}, held out {row.before:.2f} -> {row.held_out:.4f}, EA "
                      f"{100 * row.errors[BELTS]:+.2f} %, kx {100 * row.errors[X]:+.2f} %, ky {100 * row.errors[Y]:+.2f} %, "
                      f"{row.starts} starts, {row.cpu_s:.1f} s {row.refused}", flush=True)  # fmt: skip
        if rows:
            told(rows, title)


if __name__ == "__main__":
    main()

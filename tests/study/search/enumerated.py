"""A space of 3240 designs judged whole: modal ringing and invented price, kept in enumerated.csv for the tests of breeding.

    python -m tests.study.search.enumerated          # writes enumerated.csv anew (a minute)

The ringing is what the tool's modes swing after a jump of the move's acceleration, all in phase: quick, and as rugged as
what a search walks over. Which designs none other beats is found by brute force in the tests.
"""

from __future__ import annotations

import csv
from itertools import product
from pathlib import Path

import numpy as np
from beltspring.sim import load, load_prices, order, with_changes
from beltspring.sim.chain.chain import prepare
from beltspring.sim.chain.motion import middle_of
from beltspring.sim.model.modes import bare_modes, swing

PLACE = Path(__file__).with_name("enumerated.csv")
LEVELS: dict[str, tuple[object, ...]] = {
    "belts.part": tuple(f"belt-2mm-{width}-{cord}" for width in (6, 9, 12) for cord in ("glass", "steel")),
    "frame.part": ("slot-2020", "slot-2040", "slot-4040"),
    "frame.height_mm": tuple(range(360, 510, 10)),
    "frame.joints": ("bracket", "tapped-bore", "plates"),
    "motors.part": ("motor-17-28", "motor-17-34", "motor-17-40", "motor-17-48"),
}


def table() -> tuple[list[tuple[int, ...]], np.ndarray]:
    """Every design as level numbers, and its (ringing um, price), (n, 2)."""
    with PLACE.open(newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))[1:]
    genes = [tuple(int(v) for v in row[:-2]) for row in rows]
    return genes, np.array([[float(v) for v in row[-2:]] for row in rows])


def main() -> None:
    """Judge every design."""
    base, prices = load("desk-corexy", ["detail=simple"]), load_prices("example")
    acceleration = 5.0
    with PLACE.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow([*LEVELS, "ringing_um", "price"])
        for genes in product(*(range(len(levels)) for levels in LEVELS.values())):
            settings = {key: levels[g] for (key, levels), g in zip(LEVELS.items(), genes, strict=True)}
            ready = prepare(with_changes(base, settings))
            found = bare_modes(ready.system, middle_of(ready.plan, ready.machine))
            most = max(sum(swing(ready.system, m, axis) for m in found) for axis in (0, 1))
            price = order(ready.machine, prices).price
            out.writerow([*genes, f"{1e6 * acceleration * most:.3f}", f"{price:.2f}"])


if __name__ == "__main__":
    main()

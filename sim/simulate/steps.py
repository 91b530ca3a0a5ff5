"""How long a step may be, and the grid of steps that ends on every breakpoint and every record time. SI units."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..model.motor import most_drag
from ..model.system import Array, System
from ..plan.plan import PlanStretch
from .commands import TABLE_TOP_RAD_S

#: Times closer than this are one.
SAME_TIME_S = 1e-9
#: Longest step of the simple model, s: keeps the sampled command fine enough for curved paths. Three to a millisecond.
LONGEST_SIMPLE_S = 1e-3 / 3
#: Longest step of the full model and of one with arms, s: six to a millisecond.
LONGEST_FULL_S = 1e-3 / 6
#: dt omega_max: the error of classical RK4 over a cycle stays below 1e-4 of the amplitude.
OMEGA_STEP = 0.6
#: dt max|lambda|: inside RK4's stability region (2.78 on both axes) with a margin.
LAMBDA_STEP = 2.5


def corner_poses(system: System) -> list[Array]:
    """Coordinates at rest at the middle and the corners of the reach in X and Y; of a round one at the middle and twelve
    points of its rim, with the tool low and high."""
    machine = system.machine
    heights: tuple[float, ...] = machine.reach[2] if machine.reach_round else (float(system.middle[2]),)
    middle = (float(system.middle[0]), float(system.middle[1]))
    flat = [middle, *(xy for _, xy in machine.edge())]
    return [system.rest(np.array([x, y, z])) for x, y in flat for z in heights]


class Pace:
    """How fast a model can answer at one place: its matrices, scaled so that mass is one. Friction counts with its
    bristles' stiffness and damping, belts and motors with their damping, motors with detent and out of step too."""

    def __init__(self, system: System, q: Array, root: Array) -> None:
        """root: (n, n), R with R M R' = 1."""
        k, d = system.linear_stiffness(q), system.linear_damping(q)
        for f in system.frictions:
            k += f.sigma0_n_m * np.outer(f.row, f.row)
            d += f.sigma1_n_s_m * np.outer(f.row, f.row)
        for m in system.motors:
            if m.row is not None and m.spec is not None:
                # Out of step the slopes of the sine and of the drag, a quarter turn apart, meet the detent at its stiffest.
                off = float(np.hypot(m.limit_nm, most_drag(m.spec, m.damping_nm_s, TABLE_TOP_RAD_S))) - m.limit_nm
                k += m.spec.rotor_teeth * (off + 4 * m.detent_nm) * np.outer(m.row, m.row)
        self.k, self.d = root @ k @ root.T, root @ d @ root.T

    def omega(self) -> float:
        """Largest natural frequency, rad/s."""
        return float(np.sqrt(np.abs(np.linalg.eigvalsh(self.k)).max(initial=0.0)))

    def most(self, omega: float) -> float:
        """What no |eigenvalue| exceeds, 1/s: x' (l^2 + l D + K) x = 0 gives |l|^2 <= |l| |D| + |K|."""
        d = float(np.abs(np.linalg.eigvalsh(self.d)).max(initial=0.0))
        return 0.5 * (d + float(np.sqrt(d * d + 4 * omega * omega)))

    def lam(self) -> float:
        """Largest |eigenvalue|, 1/s."""
        n = len(self.k)
        first_order = np.block([[np.zeros((n, n)), np.eye(n)], [-self.k, -self.d]])
        return float(np.abs(np.linalg.eigvals(first_order)).max(initial=0.0))


def longest_step(system: System, record_s: float) -> float:
    """Longest step the model may be run with, s. An unstable run can end without NaN and 1 mm wrong, so this is no suggestion."""
    return min(record_s, system.once(_own_step))


def _own_step(system: System) -> float:
    """The same, however seldom is recorded."""
    full = bool(system.joints or system.arms)
    step = LONGEST_FULL_S if full else LONGEST_SIMPLE_S
    root = np.linalg.inv(np.linalg.cholesky(system.mass))
    for q in corner_poses(system):
        pace = Pace(system, q, root)
        omega = pace.omega()
        if not full:
            step = min(step, OMEGA_STEP / max(omega, 1e-9))
        if pace.most(omega) * step > LAMBDA_STEP:
            # Only where the bound does not tell: a matrix twice as large and without symmetry takes four times as long.
            step = min(step, LAMBDA_STEP / pace.lam())
    return step


def steps_a_record(record_s: float, longest_s: float) -> int:
    """Into how many steps the time between two records is cut."""
    return max(1, int(np.ceil(record_s / longest_s - 1e-9)))


def whole_part(record_s: float, longest_s: float) -> float:
    """The step a model is run with, s: a whole part of the time between records, so that many models share their steps."""
    return min(longest_s, record_s / steps_a_record(record_s, longest_s))


def grid(stretch: PlanStretch, dt_s: float, record_s: float) -> tuple[Array, NDArray[np.int64]]:
    """Step edges of a stretch, (k + 1,) s, and for each edge the record number it falls on, or -1.

    Steps end on breakpoints and on record times; between two of those they are equal and at most dt_s long.
    """
    t0, t1 = stretch.t0, stretch.t1
    near = np.arange(int(t0 // record_s) - 1, int(t1 // record_s) + 3)
    times = near * record_s
    # A cut is compared with a record in one way only, below too, so that the two stretches beside it agree whose it is.
    mine = (t0 - times <= SAME_TIME_S) & (times - t1 <= SAME_TIME_S) & (near >= 0)
    record_numbers, records = near[mine], times[mine]
    marks = np.concatenate([(t0, t1), stretch.breakpoints, records])
    marks = marks[(marks >= t0) & (marks <= t1)]
    marks.sort()
    # A record time within a billionth of a second of a breakpoint is that breakpoint.
    marks = marks[np.concatenate([[True], marks[1:] - marks[:-1] > SAME_TIME_S])]
    if t1 - marks[-1] <= SAME_TIME_S and len(marks) > 1:
        marks[-1] = t1
    spans = marks[1:] - marks[:-1]
    counts = np.maximum(np.ceil(spans / dt_s - 1e-9), 1).astype(np.int64)
    firsts = np.concatenate([[0], counts.cumsum()])
    span = np.arange(len(counts)).repeat(counts)
    inner = np.arange(firsts[-1]) - firsts[span]
    edges = np.concatenate([marks[span] + inner * (spans / counts)[span], marks[-1:]])
    numbers = np.full(len(edges), -1, dtype=np.int64)
    # Each record belongs to the mark nearest to it, so that none is lost or kept twice.
    after = np.minimum(np.maximum(marks.searchsorted(records), 1), len(marks) - 1)
    at = np.where(records - marks[after - 1] < marks[after] - records, after - 1, after)
    numbers[firsts[at]] = record_numbers
    return edges, numbers

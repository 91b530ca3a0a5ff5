"""Natural frequencies, damping and shapes of the model about rest, in numbers and in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from .mode_words import Hold, Springs, words_of
from .system import Array, System

#: Two frequencies that differ by less than this share are one: a symmetric machine has them in pairs.
SAME_FREQUENCY = 1e-6
#: A mode with less of the tool in it does not move the tool.
STANDS_STILL = 1e-9


@dataclass(frozen=True)
class Mode:
    """One mode. shape: (n,) scaled to largest kinetic share 1, real part.  tool_share: (2,) tool motion in X and Y per unit
    of the shape's mass-normalised amplitude (0 where the tool stands still).  words: which part moves against what.
    holds: the springs' shares of the strain energy, largest first."""

    frequency_hz: float
    damping_ratio: float
    words: str
    shape: Array
    tool_share: tuple[float, float]
    holds: tuple[Hold, ...] = ()


def detent_share(system: System) -> float:
    """By how much the detent stiffens or softens the magnetic springs, 4 T_d / A of the motor where it is most; 0: none."""
    real = [m for m in system.motors if m.spec is not None]
    return max((4 * m.detent_nm / m.limit_nm for m in real if m.limit_nm > 0), default=0.0)


def detent_words(system: System, tool: Array | None = None) -> str:
    """What the mean over the detent leaves out of `modes`, in one sentence; "" where no motor has a detent."""
    share = detent_share(system)
    if share == 0.0:
        return ""
    middle, *ends = (bare_modes(system, tool, side) for side in (0.0, -1.0, 1.0))
    said = []
    for axis, name in enumerate("XY"):
        mean = max(middle, key=lambda m: _field_share(system, m) * swing(system, m, axis), default=None)
        if mean is not None:
            low, high = (max(found, key=lambda m: abs(m.shape @ system.mass @ mean.shape)) for found in ends)
            said.append(f"{name} rings between {low.frequency_hz:.3g} and {high.frequency_hz:.3g} Hz")
    return (
        "Frequencies are means over where the motors stop: their detent makes them up to"
        f" {100 * share:.0f} % stiffer on a whole step and as much softer half way to the next; in the middle "
        + " and ".join(said)
        + "."
    )


def _field_share(system: System, mode: Mode) -> float:
    """The motors' magnetic springs' share of a mode's strain energy, which a detent changes."""
    real = [(m.spec.rotor_teeth * m.limit_nm, m.row) for m in system.motors if m.spec is not None and m.row is not None]
    return sum(k * float(row @ mode.shape) ** 2 for k, row in real) / (2 * np.pi * mode.frequency_hz) ** 2


def modes(system: System, tool: Array | None = None, detent: float = 0.0) -> list[Mode]:
    """Modes with the tool at rest at `tool` (3,), m (None: mid-reach), lowest first. Guide friction is left out; rigid
    modes and overdamped ones are not listed. detent: 1 with all motors on a whole step, -1 half way to the next; 0 is the
    mean over all places."""
    return in_words(system, tool, bare_modes(system, tool, detent))


def in_words(system: System, tool: Array | None, bare: Sequence[Mode]) -> list[Mode]:
    """Modes without words, as `bare_modes` gives them at that place, with words and what holds them."""
    springs, out = Springs(system, np.zeros(system.n) if tool is None else system.rest(tool)), []
    for mode in bare:
        words, holds = words_of(springs, mode.shape)
        out.append(replace(mode, words=words, holds=holds))
    return out


def bare_modes(system: System, tool: Array | None = None, detent: float = 0.0) -> list[Mode]:
    """The same modes without words and what holds them, which take most of the time."""
    q = np.zeros(system.n) if tool is None else system.rest(tool)
    n = system.n
    if n == 0:
        return []
    m, k, d = system.mass, system.linear_stiffness(q), system.linear_damping(q)
    for motor in system.motors:
        if detent != 0.0 and motor.row is not None and motor.spec is not None:
            k += detent * 4 * motor.spec.rotor_teeth * motor.detent_nm * np.outer(motor.row, motor.row)
    a = np.zeros((2 * n, 2 * n))
    a[:n, n:] = np.eye(n)
    a[n:] = np.linalg.solve(m, np.hstack([-k, -d]))
    values, vectors = np.linalg.eig(a)
    sizes = np.abs(values)
    at = np.flatnonzero((values.imag > 1e-6 * sizes) & (sizes >= 1.0))
    at = at[np.argsort(sizes[at], kind="stable")]
    if not len(at):
        return []
    # Each where its own largest part is real, scaled to one unit of mass.
    turned = vectors[:n, at]
    most = np.argmax(np.abs(turned) * np.sqrt(np.diag(m))[:, None], axis=0)
    turned = turned * np.exp(-1j * np.angle(turned[most, np.arange(len(at))]))
    shapes = (turned.real / np.sqrt((turned.real * (m @ turned.real)).sum(axis=0))).T
    omega, zeta = sizes[at], -values[at].real / sizes[at]
    for i in np.flatnonzero(np.diff(omega) < SAME_FREQUENCY * omega[1:]):
        both = np.stack([turned[:, i].real, turned[:, i].imag, turned[:, i + 1].real, turned[:, i + 1].imag], axis=1)
        shapes[i], shapes[i + 1] = _along_axes(m, system.tool_rows[:2], both)
    shares = shapes @ system.tool_rows[:2].T
    return [
        Mode(hertz, damping, "", shape, (x, y))
        for hertz, damping, shape, (x, y) in zip(
            (omega / (2 * np.pi)).tolist(), zeta.tolist(), shapes, shares.tolist(), strict=True
        )
    ]


def _along_axes(mass: Array, tool: Array, spanned: Array) -> tuple[Array, Array]:
    """Two shapes (n,) of one frequency out of the plane that `spanned` (n, k) spans: each free of the other's mass, and the
    first moving the tool along X, the second along Y, as nearly as they can.

    Of a symmetric machine any mixture of the two is a shape; the eigenvectors that come out are a matter of rounding.
    """
    weigh = np.linalg.cholesky(mass).T
    plane = np.linalg.svd(weigh @ spanned, full_matrices=False)[0][:, :2]
    both = np.linalg.solve(weigh, plane)
    left, _, right = np.linalg.svd(tool @ both)
    both = both @ right.T @ left.T  # the tool's shares are then symmetric, X to X and Y to Y
    return both[:, 0], both[:, 1]


def pushed(system: System, mode: Mode, axis: int) -> float:
    """How far a jump of the commanded acceleration along an axis (0 X, 1 Y) moves the rest of a mode: of its shape's
    mass-normalised amplitude, for each m/s2.

    Against the commanded motion y = q - t c(t) the modes obey p'' + w^2 p = - (shape' M t) c'', so the jump moves their
    rest by (shape' M t) / w^2.
    """
    omega = 2 * np.pi * mode.frequency_hz
    return float(mode.shape @ system.once(_moved)[axis]) / omega**2


def _moved(system: System) -> Array:
    """M t of `pushed`, (3, n), by axis."""
    return np.asarray((system.mass @ (system.travel + system.command_inertia @ system.motor_travel)).T)


def swing(system: System, mode: Mode, axis: int) -> float:
    """How far the tool swings along an axis (0 X, 1 Y) in a mode after a jump of the commanded acceleration, m per m/s2:
    its share of the way the mode's rest is `pushed`. Slow modes with little share may well win.
    """
    return abs(mode.tool_share[axis] * pushed(system, mode, axis))


def swings_most(system: System, known: Sequence[Mode], axis: int) -> Mode | None:
    """The mode that swings the tool most along an axis (0 X, 1 Y); None where nothing lets it."""
    found = max(known, key=lambda m: swing(system, m, axis), default=None)
    return found if found is not None and abs(found.tool_share[axis]) > STANDS_STILL else None

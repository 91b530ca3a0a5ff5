"""The shipped measurements, made anew: `python -m tests.study.fit.make_example`. Invented: a desk machine drawn within its
bands, at detail full, and what cheap instruments would read on it. The guide and the tests use them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from beltspring.sim import load
from beltspring.sim.study.fit.bench import Move, build, give_m, ripple_spacing_m
from beltspring.sim.study.fit.measured import Push, Ripples
from scipy.io import wavfile

from tests.built import BuiltMachine, any_sensor, built_like, pitch_of, with_sensor, write_csv

PLACE = Path(__file__).parents[3] / "scenarios" / "measured"
SEED, DETAIL = 12, "full"
LIMITS = {"motion.speed_mm_s": 150.0, "motion.acceleration_mm_s2": 5000.0}
STEPS = {"move.pattern": "step", "move.size_mm": 60.0, "move.settle_ms": 500.0, **LIMITS}
MOVES = {
    "desk-step-x": {**STEPS, "move.axis": "x"},
    "desk-step-y": {**STEPS, "move.axis": "y"},
    "desk-square": {**STEPS, "move.pattern": "square", "move.size_mm": 40.0, "motion.speed_mm_s": 120.0},
}  # fmt: skip
HEAD = """# What was measured on a desk machine, step by step. All of it is invented: the machine is simulated, its numbers
# drawn within the bands of the catalogue, and its instruments have the faults of cheap ones. No real machine was
# measured. Made by the program's own tests; `beltspring fit desk-corexy --measured {name}` reads it.
"""


def machine() -> BuiltMachine:
    """The machine that was measured."""
    return built_like(load("desk-corexy", [f"detail={DETAIL}"]), SEED)


def plucked(hertz: float, rng: np.random.Generator, rate: int = 8000) -> np.ndarray:
    """A strand plucked near its end beside a small microphone, (n,) 16-bit samples."""
    t = np.arange(0, 1.0, 1 / rate)
    tone = sum(
        np.sin(np.pi * k / 5) / k * np.sin(2 * np.pi * k * hertz * t) * np.exp(-(2 + k) * t) for k in range(1, 9)
    )
    x = np.concatenate([np.zeros(rate // 5), tone]) + 0.02 * rng.normal(size=len(t) + rate // 5)
    return np.asarray(8000 * x / np.abs(x).max(), np.int16)


def main() -> None:
    """Write all files."""
    built, rng = machine(), np.random.default_rng(SEED)
    PLACE.mkdir(exist_ok=True)
    true = build(built.written, built.truth)
    ripples = []
    for axis in (0, 1):
        changes = {"motion.speed_mm_s": 150.0}
        one = Ripples(axis, 0.150, 1.0, 5e-5, changes)
        spacing = ripple_spacing_m(Move(built.written, true, changes, "ripples"), true, one, None)[0]
        read = round(1e3 * spacing + 0.025 * rng.normal(), 2)
        ripples.append(f'[[ripples]]\naxis = "{"xy"[axis]}"\nspeed_mm_s = 150\nspacing_mm = {read:.2f}\n')
    (PLACE / "desk-ripples.toml").write_text(
        HEAD.format(name="desk-ripples") + "\n# a ruler on a printed corner, over five ripples\n" + "\n".join(ripples),
        encoding="utf-8",
    )
    text = [HEAD.format(name="desk-all"), "# a ruler on a printed corner, over five ripples", *ripples]
    text.append("# a strand plucked beside a phone, and a metre of the belt on a kitchen scale")
    for belt, run in (("a", "right"),):
        hertz = pitch_of(built, belt, run, 250)
        wavfile.write(PLACE / f"desk-{belt}-{run}.wav", 8000, plucked(hertz, rng))
        text.append(f'[[pitch]]\nrun = "{belt} {run}"\nfree_mm = 250\nsound = "desk-{belt}-{run}.wav"\n')
    weighed = round(built.truth["belts.mass_g_m"] * (1 + 0.004 * rng.normal()), 2)
    text.append(f'[[weighed]]\nkey = "belts.mass_g_m"\nvalue = {weighed}\n')
    text.append("# a luggage scale and a dial gauge, motors powered and at rest")
    for axis in (0, 1):
        gives = 1e6 * give_m(true, Push(axis, 15.0, 1.0, 1.0)) * (1 + 0.02 * rng.normal())
        text.append(f'[[push]]\naxis = "{"xy"[axis]}"\nforce_n = 15\ngives_um = {gives:.0f}\n')
    text.append("# an accelerometer on the tool, 20 mm behind the nozzle and 35 mm above it; the square is held out")
    worn = with_sensor(any_sensor(rng), rate_hz=1000.0, gap=None, rests_s=0.35)
    for name, changes in MOVES.items():
        t, a = built.reads(worn, changes, rng)
        write_csv(PLACE / f"{name}.csv", t, a, "g", "ms")
        said = ", ".join(f'"{k}" = "{v}"' if isinstance(v, str) else f'"{k}" = {v:g}' for k, v in changes.items())
        use = '\nuse = "check"' if name == "desk-square" else ""
        text.append(f'[[record]]\nfile = "{name}.csv"\nat_mm = [0, 20, 35]\nset = {{ {said} }}{use}\n')
    (PLACE / "desk-all.toml").write_text("\n".join(text), encoding="utf-8")


if __name__ == "__main__":
    main()

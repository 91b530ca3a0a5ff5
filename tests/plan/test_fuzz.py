"""Anything may stand in a file: a plan comes out, or a ProgramError that names it; never a traceback, never a hang."""

from __future__ import annotations

import itertools
import math

import numpy as np
from beltspring.sim.errors import ProgramError
from beltspring.sim.plan.build import MotionPlan
from beltspring.sim.scenario.motion import MotionLimits
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tests.plan.conftest import PlanProgram
from tests.plan.measure import worst
from tests.tries import examples

MANY = settings(max_examples=examples(250), suppress_health_check=[HealthCheck.function_scoped_fixture])
ROUGH = MotionLimits(0.15, 4.0, 0.0, 0.005, 0.0)
SMOOTH = MotionLimits(0.15, 4.0, 100.0, 0.005, 50e-6)


def survives(planned: PlanProgram, data: bytes, limits: MotionLimits) -> MotionPlan | None:
    """Plan it and look at its first stretches; a refusal must say which file."""
    refusal = ""
    try:
        plan = planned(data, limits)
    except ProgramError as error:
        refusal = str(error)
    if refusal:
        assert "job.gcode" in refusal
        assert "\n" not in refusal
        return None
    assert math.isfinite(plan.duration_s)
    for w in itertools.islice(plan.stretches(), 20):
        t = np.linspace(w.t0, w.t1, 5)
        position, velocity = w.command(t[:-1], t[1:])
        assert np.isfinite(position).all()
        assert np.isfinite(velocity).all()
        assert np.isfinite(w.asked(t)).all()
        w.depositing(t)
    return plan


@MANY
@given(data=st.binary(max_size=400), smooth=st.booleans())
@example(data=b"G1F600X", smooth=False)
@example(data=b"\xef\xbb\xbf", smooth=False)
@example(data=b"G1 F600 X1e5", smooth=False)
def test_bytes(planned: PlanProgram, data: bytes, smooth: bool) -> None:
    survives(planned, data, SMOOTH if smooth else ROUGH)


KNOWN = ("G0", "G1", "G2", "G3", "G4", "G17", "G18", "G20", "G21", "G28", "G90", "G91", "G92", "M82", "M83", "M2")
code = st.sampled_from([*KNOWN, "G92.1", "G5", "g1", "G01", "G", "M704", "T1"])
number = st.one_of(
    st.integers(-30, 250).map(str),
    st.floats(-300, 300, allow_nan=False).map(lambda x: f"{x:.3f}"),
    st.sampled_from(["", ".", "-", "+.5", "1e5", "0", "1e999", "9" * 400, "0." + "0" * 400 + "1", "nan", "-0"]),
)
word = st.builds(lambda letter, n: letter + n, st.sampled_from("XYZEFIJRPSNxyzefQO"), number)
other = st.sampled_from(["; note", "(note)", "(", "*71", "/", "%", "\u00fc", "\x00", "\t", "=", '"'])
block = st.lists(st.one_of(code, word, word, other), max_size=7).map(lambda parts: " ".join(parts))
ends = st.sampled_from(["\n", "\r\n", "\r", "\n\n"])


@MANY
@given(lines=st.lists(st.tuples(block, ends), max_size=25), smooth=st.booleans(), feed=st.booleans())
def test_tokens(planned: PlanProgram, lines: list[tuple[str, str]], smooth: bool, feed: bool) -> None:
    text = ("G1 F3000 X10 Y10 Z1\n" if feed else "") + "".join(body + end for body, end in lines)
    survives(planned, text.encode(), SMOOTH if smooth else ROUGH)


@st.composite
def jobs(draw: st.DrawFn) -> bytes:
    """A program as it might really be, with a few bytes changed, lost, doubled or swapped."""
    lines = [
        "%",
        "O1",
        "N10 G21 G90 G17",
        "N20 M704 S200 (something of another machine)",
        "G28",
        "G92 E0",
        "G1 Z0.3 F300",
        "M82",
    ]
    for k in range(draw(st.integers(1, 12))):
        x, y = draw(st.tuples(st.integers(0, 180), st.integers(0, 180)))
        lines.append(
            draw(
                st.sampled_from(
                    [
                        f"G1 X{x} Y{y} E{k}.5 F1800",
                        f"X{x}.25Y{y}.75E{k}.9",
                        f"G0 X{x} Y{y} F9000",
                        f"G3 X{x} Y{y} R{300}",
                        "G91 G1 X1 Y-0.5 E0.1",
                        "G90",
                        "G2 I2 J0 E9",
                        "G4 P0.1",
                        f"N{k} G1 X{x} *{k}",
                    ]
                )
            )
        )
    lines += ["G28 X Y", "M707", "M30", "%"]
    data = bytearray("\r\n".join(lines).encode())
    for _ in range(draw(st.integers(0, 5))):
        if not data:
            break
        at = draw(st.integers(0, len(data) - 1))
        what = draw(st.sampled_from(["change", "drop", "double", "cut"]))
        if what == "change":
            data[at] = draw(st.integers(0, 255))
        elif what == "drop":
            del data[at]
        elif what == "double":
            data[at:at] = data[at : at + draw(st.integers(1, 30))]
        else:
            del data[at:]
    return bytes(data)


@MANY
@given(data=jobs(), smooth=st.booleans())
def test_mutated_jobs(planned: PlanProgram, data: bytes, smooth: bool) -> None:
    limits = SMOOTH if smooth else ROUGH
    plan = survives(planned, data, limits)
    if plan is not None and plan.duration_s < 300.0:
        found = worst(plan)
        assert found.speed <= limits.speed_m_s * (1 + 1e-9)
        assert found.acceleration <= limits.acceleration_m_s2 * (1 + 1e-9)
        assert found.gap < 1e-8

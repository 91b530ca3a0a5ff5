"""A run as it is shown: the arrays, intervals and marks that pictures and the window share, prepared once.

Nothing here is physics: it selects, subtracts and looks up what trace, plan and analysis already hold.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import count

import numpy as np
from beltspring.sim import OFF_LINE, Report, corner_name
from numpy.typing import NDArray

from ..draw.arms import view_of
from ..draw.belt_colours import lettered
from ..draw.larger import TRAIL_S, belts_larger, carriage_m, factor_for
from ..draw.machine import MachineView
from ..draw.state import MachineState
from .corners import Corner, corners_of

Array = NDArray[np.float64]

_serials = count(1)  # tells kept images apart; never reused, as an id may be


def _across(direction: Array, error: Array) -> Array:
    """How far a way off (n, 2) leads to the left of a direction (n, 2)."""
    return np.asarray(direction[:, 0] * error[:, 1] - direction[:, 1] * error[:, 0], float)


def _along(direction: Array, error: Array) -> Array:
    """How far a way off (n, 2) leads along a direction (n, 2)."""
    return np.asarray((direction * error).sum(axis=1), float)


@dataclass(frozen=True)
class Moment:
    """Something worth finding on the time line. kind: "largest" | "slack" | "lost steps" | "ended", its word there."""

    time_s: float
    kind: str
    words: str


@dataclass(frozen=True)
class Largest:
    """The largest deviation of one axis: when, s, and how much, m, signed."""

    time_s: float
    value_m: float


class Shown:
    """What the drawings need of one result. Arrays have the trace's length n unless said otherwise."""

    def __init__(self, result: Report) -> None:
        self.result = result
        self.serial = next(_serials)
        self.trace = result.trace
        self.t_s: Array = result.trace.t_s
        self.end_s = float(self.t_s[-1]) if len(self.t_s) else 0.0
        self.move_s = float(result.plan.move_s)

    def work_out(self) -> None:
        """Work out what words need and curves do not; for a thread that has time. Drawing would do it, and stand still."""
        report = self.result
        _ = report.moving, report.buzz_words, report.named_peaks

    @cached_property
    def view(self) -> MachineView:
        return view_of(self.result.machine)

    @cached_property
    def deviation_m(self) -> dict[str, Array]:
        """Tool minus commanded position by axis, m; (n,) each. The commanded position includes shaping."""
        off = self.trace.tool - self.trace.commanded
        return {"x": off[:, 0], "y": off[:, 1]}

    @cached_property
    def off_most_m(self) -> tuple[float, float]:
        """The farthest that the tool is from where it was commanded, in XY: after a stop, and ever, m."""
        if not len(self.t_s):
            return 0.0, 0.0
        off = np.hypot(self.deviation_m["x"], self.deviation_m["y"])
        after = np.zeros(len(off), np.bool_)
        for corner in self.corners:
            after |= (self.t_s >= corner.stop_s) & (self.t_s <= corner.end_s)
        most = float(off.max())
        return float(off[after].max()) if after.any() else most, most

    @cached_property
    def larger(self) -> float:
        """How much larger than it is that distance is drawn on the machine."""
        return factor_for(*self.off_most_m, carriage_m(self.result.machine))

    @cached_property
    def largest(self) -> dict[str, Largest]:
        out = {}
        for axis, values in self.deviation_m.items():
            k = int(np.argmax(np.abs(values))) if len(values) else 0
            out[axis] = Largest(float(self.t_s[k]), float(values[k])) if len(values) else Largest(0.0, 0.0)
        return out

    @cached_property
    def ramps(self) -> list[tuple[float, float]]:
        """Stretches in which the commanded motion speeds up or slows down, s, joined where they touch."""
        delay = max(self.result.plan.shaper_delay_s[:2], default=0.0)
        raw = []
        for leg in self.result.plan.legs:
            for a, b in ((leg.start_s, leg.cruise_from_s), (leg.cruise_to_s, leg.end_s)):
                if b > a + 1e-9:
                    raw.append((a, b + delay))
        out: list[tuple[float, float]] = []
        for a, b in sorted(raw):
            if out and a <= out[-1][1] + 1e-4:
                out[-1] = (out[-1][0], max(out[-1][1], b))
            else:
                out.append((a, b))
        return out

    @cached_property
    def legs(self) -> list[tuple[str, float, float]]:
        """(name, start, end) of each leg and of the settling after it, s."""
        out = [(leg.name, float(leg.start_s), float(leg.end_s)) for leg in self.result.plan.legs]
        if self.end_s > self.move_s + 1e-6:
            out.append(("settle", self.move_s, self.end_s))
        return out

    @cached_property
    def corners(self) -> list[Corner]:
        """Where an axis is stopped, in order of time."""
        return corners_of(self.result, self.end_s)

    @cached_property
    def asked_m(self) -> Array:
        """The path asked for as a polyline, (m, 2), m."""
        points = self.result.analysis.path.asked_m
        if len(points) < 2:
            return np.asarray(points, float)
        keep = np.concatenate([[True], np.hypot(*np.diff(points, axis=0).T) > 1e-9])
        return np.asarray(points[keep], float)

    @cached_property
    def _feet(self) -> tuple[Array, Array]:
        """For each sample the nearest place on the asked path, (n, 2) m, and the path's direction there, (n, 2)."""
        measured = self.result.analysis.path
        nowhere = ~measured.direction.any(axis=1, keepdims=True)
        return measured.foot_m, np.where(nowhere, [1.0, 0.0], measured.direction)

    @cached_property
    def feet_m(self) -> Array:
        return self._feet[0]

    @cached_property
    def direction(self) -> Array:
        """Unit vector of the asked path at its place nearest to the tool, (n, 2)."""
        return self._feet[1]

    @cached_property
    def error_m(self) -> Array:
        """From the nearest place on the asked path to the tool, (n, 2), m."""
        return np.asarray(self.trace.tool[:, :2] - self.feet_m, float)

    @cached_property
    def laid(self) -> NDArray[np.bool_]:
        """Where material is laid, (n,); everywhere in a move that lays none (then the tool's way is the line)."""
        found = self.trace.depositing
        return found if found.any() else np.ones(len(self.t_s), np.bool_)

    @cached_property
    def sideways_m(self) -> Array:
        """Distance of the tool from the asked path, m, positive to the left of its direction.

        Beyond a corner it is off along one line and aside of the next: the side of that other line counts, so that a
        swing keeps its sign round the corner. Beyond an end, or swinging where it stands, positive is ahead.
        """
        d, e = self._feet[1], self.error_m
        side, ahead = _across(d, e), _along(d, e)
        turned = np.flatnonzero((d[1:] != d[:-1]).any(axis=1)) + 1
        # The line after this one, or before it where the tool is behind its beginning; this one where there is no other.
        at = np.arange(len(d))
        after = np.append(turned, len(d) - 1)[np.searchsorted(turned, at, side="right")] if len(d) else at
        before = np.append(0, turned - 1)[np.searchsorted(turned, at, side="right")]
        other = d[np.where(ahead > 0, after, before)]
        beside = _across(other, e)
        beyond = np.where(np.abs(beside) > np.abs(_along(other, e)), beside, ahead)
        side = np.where(np.abs(ahead) > np.abs(side), beyond, side)
        return np.asarray(np.where(side < 0, -1.0, 1.0) * self.result.analysis.path.across_m, float)

    @cached_property
    def ahead_m(self) -> Array:
        """How far the tool is ahead of its commanded place along the asked path, (n,) m; behind is negative."""
        off, d = self.deviation_m, self.direction
        return np.asarray(off["x"] * d[:, 0] + off["y"] * d[:, 1])

    @cached_property
    def moments(self) -> list[Moment]:
        """Marks for the time line, in order of time."""
        out = []
        path = self.result.analysis.path
        if path.across_max_m > 0:
            out.append(Moment(path.worst_s, "largest", f"most {OFF_LINE}: {path.across_max_m * 1e6:.0f} µm"))
        for k, (belt, run) in enumerate(self.trace.runs):
            slack = np.flatnonzero(self.trace.tension_n[:, k] <= 0.0)
            if len(slack):
                out.append(Moment(float(self.t_s[slack[0]]), "slack", f"belt {lettered(belt)}, {run} run, goes slack"))
        for slip in self.trace.slips:
            lost = f"loses {slip.lost_steps} steps" if slip.lost_steps else f"is {slip.most_steps_off} steps off"
            out.append(Moment(slip.time_s, "lost steps", f"motor {slip.motor.upper()} {lost}"))
        if self.trace.stopped_at_s is not None:
            out.append(Moment(self.trace.stopped_at_s, "ended", f"the run ended: {self.trace.ended}"))
        return sorted(out, key=lambda m: m.time_s)

    @cached_property
    def tension_swing_n(self) -> dict[tuple[str, str], float]:
        """The largest change of tension of every run since rest, either way, N."""
        swing = np.abs(self.trace.tension_n - self.trace.tension_n[:1]).max(axis=0) if len(self.t_s) else []
        return {run: float(most) for run, most in zip(self.trace.runs, swing, strict=True)}

    @cached_property
    def lost_from_s(self) -> float | None:
        """From when on everything is laid in the wrong place, as a motor has lost steps, s; None where none has."""
        return min((slip.time_s for slip in self.trace.slips), default=None)

    @cached_property
    def tension_most_n(self) -> float:
        """Top of the thickness scale, N: what the most loaded run reaches, rounded up to tens."""
        most = float(self.trace.tension_n.max()) if self.trace.tension_n.size else 0.0
        return max(20.0, math.ceil(most / 10.0) * 10.0)

    def at(self, time_s: float, values: Array) -> Array:
        """Values (n, ...) interpolated at one time."""
        k = int(np.clip(np.searchsorted(self.t_s, time_s, side="right") - 1, 0, max(len(self.t_s) - 2, 0)))
        if len(self.t_s) < 2:
            return np.asarray(values[0])
        span = float(self.t_s[k + 1] - self.t_s[k])
        share = min(1.0, max(0.0, (time_s - float(self.t_s[k])) / span)) if span > 0 else 0.0
        return np.asarray(values[k] * (1 - share) + values[k + 1] * share)

    def tensions(self, time_s: float) -> dict[tuple[str, str], float]:
        forces = self.at(time_s, self.trace.tension_n)
        return {run: float(f) for run, f in zip(self.trace.runs, forces, strict=True)}

    @cached_property
    def _motor_start(self) -> dict[str, float]:
        """Angle of each motor at the start of the trace, counted from the reference pose by the belt, rad."""
        from beltspring.sim.machine.routing import belt_path

        machine = self.result.machine
        offsets = machine.offsets(self.trace.tool[0])
        paths = {b.name: belt_path(machine, b, offsets) for b in machine.belts}
        state = MachineState(tool=self.trace.tool[0])
        angles = self.view.wheel_angles(paths, state)
        return {m.name: angles[m.wheel] - math.pi / 2 for m in machine.motors}

    def _drawn_larger(self, rows: Array, commanded: Array, larger: float) -> Array:
        """Places of the tool (..., 3), m, with their distance from the commanded place drawn larger."""
        return np.asarray(commanded + larger * (rows - commanded))

    @cached_property
    def rest_n(self) -> dict[tuple[str, str], float]:
        """Tension of every run before the move, N."""
        first = self.trace.tension_n[0] if len(self.t_s) else np.zeros(len(self.trace.runs))
        return {run: float(f) for run, f in zip(self.trace.runs, first, strict=True)}

    def machine_state(
        self, time_s: float, *, frame_s: float = 0.0, most_n: float | None = None, larger: float = 1.0
    ) -> MachineState:
        """The machine at one instant. frame_s: how much time one frame covers, to tell which motors blur.

        larger: how much farther off its commanded place the tool is drawn; from 1 on with changes of tension larger, too.
        """
        laid = self.trace.tool[: int(np.searchsorted(self.t_s, time_s, side="right")), :2]
        turned = self.at(time_s, self.trace.motor_rad)
        before = self.at(max(0.0, time_s - frame_s), self.trace.motor_rad)
        motors = {
            name: self._motor_start[name] + float(angle)
            for name, angle in zip(self.trace.motors, turned, strict=True)
            if name in self._motor_start
        }
        blurred = frozenset(
            m.name
            for m, a, b in zip(self.result.machine.motors, turned, before, strict=False)
            if abs(a - b) > math.pi / 2
        )
        tool, tension = self.at(time_s, self.trace.tool), self.tensions(time_s)
        state = MachineState(
            tool=tool,
            motor_rad=motors,
            tension_n=tension,
            tension_most_n=most_n or self.tension_most_n,
            asked=self.asked_m,
            laid=laid,
            blurred=blurred,
        )
        if larger <= 1.0:
            return state
        commanded = self.at(time_s, self.trace.commanded)
        a, b = np.searchsorted(self.t_s, (time_s - TRAIL_S, time_s))
        trail = self._drawn_larger(self.trace.tool[a:b], self.trace.commanded[a:b], larger)
        now = self._drawn_larger(tool, commanded, larger)
        return replace(
            state,
            tool=now,
            tension_n=belts_larger(tension, self.rest_n),
            tension_most_n=2.0 * max(self.rest_n.values(), default=10.0),
            asked_tool=commanded,
            trail=np.concatenate([trail, now[None]])[:, :2],
        )

    def doing(self, time_s: float) -> str:
        """What the commanded motion does, in words: "slowing down on the way to corner 2", "standing after corner 1"."""
        legs = self.result.plan.legs
        names = [corner_name(leg.name, legs[-1].name) for leg in legs]
        for k, leg in enumerate(legs):
            if leg.start_s - 1e-9 <= time_s < leg.end_s:
                if time_s < leg.cruise_from_s:
                    words = "speeding up"
                else:
                    words = "slowing down" if time_s >= leg.cruise_to_s else "steady"
                if names[k] == leg.name:
                    return f"{words}, {leg.name}"
                return f"{words} on the way to {'the end' if k == len(legs) - 1 else names[k]}"
            if time_s < leg.start_s:
                return f"standing after {names[k - 1]}" if k else "waiting"
        return "settling" if time_s < self.end_s else "at the end"

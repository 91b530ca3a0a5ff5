"""What is drawn larger than it is: how far the tool is off its place, and how belts pull more or less than at rest.

The tool is drawn at commanded + N x (tool - commanded), and what carries it with it; where it was asked to be stays
dashed. N is one figure and zeros, so that it can be said beside the picture, and the same for a whole clip.
"""

from __future__ import annotations

import math

import numpy as np
import pygame
from beltspring.sim.machine.machine import Machine
from numpy.typing import NDArray

from .belts import SLACK_BELOW_N, Place
from .canvas import arrow, line_stroke
from .order import work_shift
from .parts import draw_dashed_outline
from .state import MachineState
from .theme import Look, mix

Array = NDArray[np.float64]

#: Ringing is drawn up to this share of the carriage, and nothing farther off than that share of it.
SHARE, FARTHEST = 1.0 / 3.0, 1.0
#: Beyond this nothing on a machine means anything any more.
MOST = 5e4
#: Belts: how much more than it is the change of tension is drawn.
BELTS = 5.0
TRAIL_S = 0.030


def one_figure(value: float) -> float:
    """The nearest of 1, 2, ... 9, 10, 20, ... to `value`; at least 1."""
    if not value >= 1.0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value) + 1e-12)
    return round(value / power) * power


def carriage_m(machine: Machine) -> float:
    """The larger side of what carries the tool, m."""
    known = [np.asarray(s.points, float)[:, :2] for s in machine.outlines if s.kind == "carriage"]
    return max((float(max(np.ptp(p[:, 0]), np.ptp(p[:, 1]))) for p in known), default=0.05)


def factor_for(ringing_m: float, most_m: float, carriage: float) -> float:
    """How much larger what the tool is off its place is drawn, on a carriage of that size, m.

    ringing_m: the most after a stop, which shall be plain to see.  most_m: the most ever, which stays near the carriage.
    """
    if ringing_m <= 1e-12:
        return 1.0
    return one_figure(min(MOST, SHARE * carriage / ringing_m, FARTHEST * carriage / most_m))


def belts_larger(
    now_n: dict[tuple[str, str], float], rest_n: dict[tuple[str, str], float]
) -> dict[tuple[str, str], float]:
    """Tensions whose change since rest is BELTS times what it is; a run that hangs slack stays so, no other becomes so."""
    out = {}
    for run, force in now_n.items():
        rest = rest_n.get(run, force)
        out[run] = force if force < SLACK_BELOW_N else max(1.001 * SLACK_BELOW_N, rest + BELTS * (force - rest))
    return out


# ---- on the machine seen from above


def _on_work(machine: Machine, tool: Array, points: Array) -> Array:
    """Places (..., 2) in tool coordinates as they lie on the work while the tool stands at `tool`, m."""
    return np.asarray(np.asarray(points, float)[..., :2] + work_shift(machine, machine.offsets(tool)))


def _outlines(machine: Machine, state: MachineState) -> list[Array]:
    """Corners (4, 2), m, of carriage and bed where they were asked to be, as far as they are drawn elsewhere."""
    assert state.asked_tool is not None
    now, asked = machine.offsets(state.tool), machine.offsets(state.asked_tool)
    bodies = {machine.tool_body: "carriage", machine.work_body: "bed"}
    return [
        np.asarray(shape.points, float)[:, :2] + asked[shape.body][:2]
        for shape in machine.outlines
        if bodies.get(shape.body) == shape.kind and np.any(np.abs((now[shape.body] - asked[shape.body])[:2]) > 1e-9)
    ]


def reach_of_asked(machine: Machine, state: MachineState) -> list[Array]:
    """Point sets (k, 2), m, about which `draw_asked` draws."""
    if state.asked_tool is None:
        return []
    marks = _on_work(machine, state.tool, np.array([state.asked_tool[:2], state.tool[:2]]))
    trail = [_on_work(machine, state.tool, state.trail)] if state.trail is not None and len(state.trail) else []
    return [*_outlines(machine, state), marks, *trail]


def draw_asked(target: pygame.Surface, look: Look, machine: Machine, place: Place, state: MachineState) -> None:
    """Where the tool was asked to be: its carriage dashed, an open dot, a line from there to the tool, and its trail."""
    if state.asked_tool is None:
        return
    theme, u = look.theme, place.unit
    for corners in _outlines(machine, state):
        draw_dashed_outline(target, place, place.at(corners), theme.text)
    at, tool = place.at(_on_work(machine, state.tool, np.array([state.asked_tool[:2], state.tool[:2]])))
    if state.trail is not None and len(state.trail) > 1:
        _trail(target, look, place.at(_on_work(machine, state.tool, state.trail)), u)
    away = float(np.hypot(*(tool - at)))
    hole = 4.2 * u
    if away > hole + 7 * u:
        # One mark: from the open dot to the rim of the tool's own sign.
        way = (tool - at) / away
        line_stroke(target, at + way * hole, tool - way * 7 * u, 4.2 * u, theme.panel)
        line_stroke(target, at + way * hole, tool - way * 7 * u, 2.2 * u, theme.text)
    pygame.draw.circle(target, theme.panel, np.rint(at).tolist(), hole + 1.4 * u)
    pygame.draw.circle(target, theme.text, np.rint(at).tolist(), hole, max(2, round(1.6 * u)))


def draw_start(target: pygame.Surface, look: Look, machine: Machine, place: Place, state: MachineState) -> None:
    """Where the carriage stood when a move began, dashed, and an arrow from there to where the tool is."""
    assert state.started_at is not None
    now, then, body = machine.offsets(state.tool), machine.offsets(state.started_at), machine.tool_body
    if float(np.hypot(*(now[body] - then[body])[:2])) * place.scale < 2 * place.unit:
        return
    for shape in machine.outlines:
        if shape.kind == "carriage" and shape.body == body:
            draw_dashed_outline(target, place, place.at(np.asarray(shape.points) + then[body][:2]), look.theme.dim)
    tool = np.asarray(machine.tool_point)[:2]
    a, b = place.at(tool + then[body][:2]), place.at(tool + now[body][:2])
    arrow(target, a, b, 2.6 * place.unit, look.theme.text, 9 * place.unit)
    pygame.draw.circle(target, look.theme.text, np.rint(a).tolist(), 3 * place.unit)


def _trail(target: pygame.Surface, look: Look, points: Array, u: float) -> None:
    """A line that gains strength towards the tool."""
    last = len(points) - 1
    for k in range(last):
        strength = 0.25 + 0.75 * (k + 1) / last
        colour = mix(look.theme.carriage, look.theme.laid, strength)
        line_stroke(target, points[k], points[k + 1], (0.8 + 1.4 * strength) * u, colour)

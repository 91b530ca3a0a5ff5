"""How every run of belt pulls more or less than at rest: signed bars on one scale."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pygame
from beltspring.sim.machine.machine import Machine

from ..draw import text
from ..draw.belt_colours import belt_colour, lettered
from ..draw.belts import SLACK_BELOW_N
from ..draw.theme import Look, Theme
from .shown import Shown
from .signed import Signed, draw_signed

HEAD, PITCH = 26, 22


def run_words(belt: str, run: str) -> str:
    """ "A, left run"."""
    return f"{lettered(belt)}, {run} run"


def pull_change_n(shown: Shown, time_s: float) -> dict[tuple[str, str], float]:
    """Change of tension of every run since rest, N."""
    rest = shown.rest_n
    return {run: force - rest[run] for run, force in shown.tensions(time_s).items()}


def most_changing(shown: Shown, time_s: float, count: int = 2) -> dict[tuple[str, str], str]:
    """The runs whose tension has changed most, each with its change in words; none below a tenth of a newton."""
    change = pull_change_n(shown, time_s)
    order = sorted(change, key=lambda run: -abs(change[run]))[:count]
    return {run: f"{text.number(change[run], 1, signed=True)} N" for run in order if abs(change[run]) >= 0.05}


def rows_that_fit(look: Look, height: int, count: int) -> int:
    """How many rows of bars, below their title, fit into a height, px."""
    return max(0, min(count, (height - look.px(HEAD)) // look.px(PITCH)))


def about_words(rest: Sequence[float]) -> list[str]:
    """What the bars say, longest first. rest: tension of every run before, N."""
    alike = rest and max(rest) - min(rest) < 0.05
    long = (
        f"pull more or less than the {text.number(rest[0], 1)} N at rest" if alike else "pull more or less than at rest"
    )
    return [long, "pull more or less than at rest", "change, N"]


def run_rows(
    theme: Theme, machine: Machine, rest: Mapping[tuple[str, str], float], now: Mapping[tuple[str, str], float]
) -> list[Signed]:
    """A row a run: right of the line it pulls more than at rest, left less. rest, now: tension by (belt, run), N."""
    numbers = [belt.name for belt in machine.belts]
    rows = []
    for run, force in now.items():
        slack, change = force < SLACK_BELOW_N, force - rest[run]
        said = "slack" if slack else f"{text.number(change, 1, signed=True)} N"
        rows.append(Signed(run_words(*run), belt_colour(theme, machine, numbers.index(run[0])), change, said, slack))
    return rows


def draw_pull(
    target: pygame.Surface, look: Look, rect: pygame.Rect, shown: Shown, time_s: float, room: int = 0
) -> None:
    """Every run's bar below a title, or those that change most in this run. room: what is taken at the title's right, px."""
    heading(target, look, rect, "Belts", about_words(list(shown.rest_n.values())), room)
    now = shown.tensions(time_s)
    count = rows_that_fit(look, rect.h, len(now))
    kept = set(sorted(now, key=lambda run: -shown.tension_swing_n[run])[:count])
    rows = run_rows(look.theme, shown.result.machine, shown.rest_n, {r: f for r, f in now.items() if r in kept})
    most = max(max(shown.tension_swing_n.values(), default=1.0), 0.5)
    area = pygame.Rect(rect.x, rect.y + look.px(HEAD), rect.w, rect.h - look.px(HEAD))
    draw_signed(target, look, area, rows, most, 14)


def heading(
    target: pygame.Surface, look: Look, rect: pygame.Rect, title: str, about: Sequence[str], room: int = 0
) -> None:
    """A small title with what it means beside it. about: longest first.  room: what is taken at the right, px."""
    used = text.draw(target, look, title, rect.x, rect.y + look.px(14), 16, bold=True)
    left = rect.right - room - used.right - look.px(12)
    words = next((w for w in about if text.width(look, w, 14) <= left), "")
    text.draw(target, look, words, used.right + look.px(12), rect.y + look.px(14), 14, colour=look.theme.dim)

"""How every run of belt pulls more or less than at rest: signed bars on one scale."""

from __future__ import annotations

import pygame

from ..draw import text
from ..draw.belt_colours import belt_colour
from ..draw.belts import SLACK_BELOW_N
from ..draw.theme import Look
from .shown import Shown


def run_words(belt: str, run: str) -> str:
    """ "A, left run"."""
    return f"{belt.upper()}, {run} run"


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
    return max(0, min(count, (height - look.px(26)) // look.px(22)))


def draw_pull(target: pygame.Surface, look: Look, rect: pygame.Rect, shown: Shown, time_s: float) -> None:
    """A row a run: right of the line it pulls more than at rest, filled; left less, hollow."""
    theme = look.theme
    change, now = pull_change_n(shown, time_s), shown.tensions(time_s)
    rest = list(shown.rest_n.values())
    alike = rest and max(rest) - min(rest) < 0.05
    used = text.draw(target, look, "Belts", rect.x, rect.y + look.px(14), 16, bold=True)
    about = (
        f"pull more or less than the {text.number(rest[0], 1)} N at rest" if alike else "pull more or less than at rest"
    )
    room = rect.right - used.right - look.px(12)
    text.draw(
        target,
        look,
        text.fit(look, about, room, 14),
        used.right + look.px(12),
        rect.y + look.px(14),
        14,
        colour=theme.dim,
    )
    count = rows_that_fit(look, rect.h, len(change))
    runs = list(change)
    if count < len(runs):
        kept = set(sorted(runs, key=lambda run: -shown.tension_swing_n[run])[:count])
        runs = [run for run in runs if run in kept]
    most = max(max(shown.tension_swing_n.values(), default=1.0), 0.5)
    numbers = [belt.name for belt in shown.result.machine.belts]
    left = rect.x + max((text.width(look, run_words(*run), 14) for run in runs), default=0) + look.px(12)
    right = rect.right - text.width(look, "+00.0 N", 16, True) - look.px(10)
    zero = (left + right) // 2
    for k, run in enumerate(runs):
        y = rect.y + look.px(26) + k * look.px(22)
        colour = belt_colour(theme, shown.result.machine, numbers.index(run[0]))
        slack = now[run] < SLACK_BELOW_N
        baseline = y + look.px(15)
        text.draw(target, look, run_words(*run), rect.x, baseline, 14, colour=colour)
        target.fill(theme.line, (left, y + look.px(10), right - left, look.px(1)))
        wide = round(min(1.0, abs(change[run]) / most) * (right - left) / 2)
        bar = pygame.Rect(zero if change[run] >= 0 else zero - wide, y + look.px(5), wide, look.px(11))
        if change[run] >= 0:
            target.fill(colour, bar)
        elif wide > 0:
            pygame.draw.rect(target, colour, bar, look.px(2))
        words = "slack" if slack else f"{text.number(change[run], 1, signed=True)} N"
        shade = theme.alarm if slack else theme.text
        text.draw(target, look, words, rect.right, baseline, 14, bold=True, colour=shade, align="right")
    if runs:
        target.fill(theme.dim, (zero, rect.y + look.px(26), look.px(1), len(runs) * look.px(22)))

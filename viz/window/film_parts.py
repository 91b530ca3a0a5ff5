"""What every film has about its pictures: a sentence and a line above, the settings beside them, the speed of time below.

There are no controls, and nothing is smaller than a viewer of a small film can read. Sizes are those of 1080 lines.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pygame

from ..charts.corners import Corner, corner_at
from ..charts.shown import Shown
from ..draw import text
from ..draw.canvas import disc, rounded
from ..draw.theme import Look, mix
from ..draw.theme import look as look_of

LEAST_SCALE = 0.66  # below this height words no longer shrink with the picture
BEFORE_S, AFTER_S = 0.030, 0.100  # of a corner, in which time is stretched
LEAST_BOTH = 420  # in a body of less height, px of 1080 lines, one picture has it alone: two would be too low to read
LARGER = 1.58  # of the window's own charts, whose smallest words are 14 px, in a film
MOST_SLOWED = 12
Slow = Sequence[tuple[float, float]]
#: A sentence and a line, each in some wordings, the longest first.
Told = tuple[Sequence[str], Sequence[str]]


def film_look(theme: str, size: tuple[int, int], larger: float = 1.0) -> Look:
    """How a film of that size, px, is drawn. larger: LARGER for what the window draws too."""
    return look_of(theme, round(larger * max(size[1] / 1080, LEAST_SCALE), 3))


def slowed(shown: Shown, only: Corner | None) -> list[tuple[float, float]]:
    """When time is stretched, s: at all corners of a pattern, of a program's many at none but the one shown."""
    corners = [only] if only is not None else shown.corners if len(shown.corners) <= MOST_SLOWED else []
    return [(c.stop_s - BEFORE_S, c.end_s if only is not None else c.stop_s + AFTER_S) for c in corners]


def told_corner(shown: Shown, time_s: float) -> Corner | None:
    """The corner that is told at a time: the one it lies at, else the next, else the last; None where there is none."""
    corners = shown.corners
    k = corner_at(corners, time_s)
    if k is None:
        return None
    return corners[k + 1] if time_s > corners[k].end_s and k + 1 < len(corners) else corners[k]


class FilmLaid:
    """What every film page has. stamped: whether a line below tells the settings: a page tells them itself."""

    uses_clock, show_s, stamped = True, 0.0, False
    shown: Shown
    only: Corner | None = None

    def panels(self) -> dict[str, pygame.Rect]:
        """It has none to be exported alone."""
        return {}

    def advance(self, dt: float) -> bool:
        """Nothing moves by itself."""
        return False

    def corner(self, time_s: float) -> Corner | None:
        """The corner that is told at a time of the run shown: the only one filmed, if it is about one."""
        return self.only if self.only is not None else told_corner(self.shown, time_s)


def draw_frame(target: pygame.Surface, look: Look, told: Told | None, settings: str) -> tuple[pygame.Rect, pygame.Rect]:
    """Ground, caption and line, settings; returns where the pictures and the foot have room."""
    w, h = target.get_size()
    target.fill(look.theme.page)
    pad = look.px(56)
    top = _head(target, look, pygame.Rect(pad, look.px(44), w - 2 * pad, look.px(150)), told, settings.split(" · "))
    foot = pygame.Rect(pad, h - look.px(124), w - 2 * pad, look.px(104))
    return pygame.Rect(pad, top + look.px(30), w - 2 * pad, foot.y - top - look.px(48)), foot


def _head(target: pygame.Surface, look: Look, rect: pygame.Rect, told: Told | None, parts: list[str]) -> int:
    """Caption and line at the left, the settings at the right; returns the y below them."""
    theme = look.theme
    aside = [parts[0], *parts[3:]][:3]
    wide = max(text.width(look, p, 22) for p in aside)
    narrow = wide > rect.w * 0.34
    if not narrow:
        for k, words in enumerate(aside):
            colour = theme.text if k == 0 else theme.dim
            text.draw(target, look, words, rect.right, rect.y + look.px(30 + 32 * k), 22, colour=colour, align="right")
    room = rect.w - (0 if narrow else wide + look.px(48))
    sentences, lines = told if told is not None else ((parts[0],), ())
    fitting = (s for s in sentences if text.width(look, s, 40, True) <= room)
    head = next(fitting, sentences[-1])
    size = 52 if text.width(look, head, 52, True) <= room else 40
    heads = text.wrap(look, head, room, size, True)[:2]
    y = rect.y + look.px(46)
    for k, words in enumerate(heads):
        y += look.px(46) * bool(k)
        text.draw(target, look, text.fit(look, words, room, size, True), rect.x, y, size, bold=True)
    rows, wrapped = 3 - len(heads), [text.wrap(look, line, room, 28) for line in lines if line]
    for words in next((w for w in wrapped if len(w) <= rows), wrapped[-1][:rows] if wrapped else []):
        y += look.px(38)
        text.draw(target, look, text.fit(look, words, room, 28), rect.x, y, 28, colour=theme.dim)
    if narrow:
        y += look.px(34)
        words = text.fit(look, f"{parts[0]}; {parts[3] if len(parts) > 3 else ''}", rect.w, 22)
        text.draw(target, look, words, rect.x, y, 22, colour=theme.dim)
    return y


def draw_rate(target: pygame.Surface, look: Look, rect: pygame.Rect, speed: float) -> None:
    """How fast time goes, at the left of a foot. speed: as a share of real time."""
    slow = speed < 0.99
    text.draw(target, look, f"1/{1 / speed:.0f}" if slow else "real", rect.x, rect.y + look.px(44), 40, bold=True)
    words = "of real speed" if slow else "speed"
    text.draw(target, look, words, rect.x, rect.y + look.px(80), 22, colour=look.theme.dim)


def draw_line(
    target: pygame.Surface,
    look: Look,
    line: pygame.Rect,
    x: float,
    slow: Slow,
    marks: Sequence[tuple[float, str, bool]],
) -> None:
    """A line of time up to x, px, and names below it. slow: darker parts, px.  marks: where, px, what, and whether now."""
    theme = look.theme
    rounded(target, line, line.h // 2, theme.line)
    for a, b in slow:
        target.fill(mix(theme.line, theme.text, 0.3), (round(a), line.y, max(1, round(b - a)), line.h))
    rounded(target, pygame.Rect(line.x, line.y, max(line.h, round(x - line.x)), line.h), line.h // 2, theme.control)
    disc(target, (x, line.centery), look.px(14), theme.page)
    disc(target, (x, line.centery), look.px(12), theme.control)
    taken: list[tuple[float, float]] = []
    for where, words, now in sorted(marks, key=lambda one: not one[2]):  # the one now first: it is always there
        half = text.width(look, words, 22, True) / 2
        at = min(max(where, line.x + half), line.right - half)
        if any(at - half < right and at + half > left for left, right in taken):
            continue
        colour = theme.text if now else theme.dim
        used = text.draw(target, look, words, at, line.y + look.px(54), 22, bold=now, colour=colour, align="center")
        taken.append((used.left - look.px(14), used.right + look.px(14)))


def draw_time_foot(
    target: pygame.Surface,
    look: Look,
    rect: pygame.Rect,
    shown: Shown,
    time_s: float,
    speed: float,
    slow: Slow,
    here: Corner | None,
) -> None:
    """The speed of time, its line stretched as the film is, the corners' names, the time. here: the corner told."""
    draw_rate(target, look, rect, speed)
    end = f"of {text.number(shown.end_s * 1e3)} ms"
    wide, base = text.width(look, end, 22), rect.y + look.px(44)
    text.draw(target, look, end, rect.right, base, 22, colour=look.theme.dim, align="right")
    now = text.number(time_s * 1e3, 1)
    text.draw(target, look, now, rect.right - wide - look.px(10), base, 40, bold=True, align="right")
    room = text.width(look, text.number(shown.end_s * 1e3, 1), 40, True) + wide
    left, right = rect.x + look.px(190), rect.right - room - look.px(52)
    line = pygame.Rect(left, rect.y + look.px(26), max(10, right - left), look.px(8))
    at = stretched(line, slow, shown.end_s)
    marks = [(at(c.stop_s), c.name, c is here) for c in shown.corners]
    draw_line(target, look, line, at(time_s), [(at(a), at(b)) for a, b in slow], marks)


def stretched(line: pygame.Rect, slow: Slow, end_s: float, slower: float = 10.0) -> Callable[[float], float]:
    """Where a time, s, stands on a line, px, on which slow stretches are as much longer as they last."""

    def shown_s(t: float) -> float:
        extra = sum(max(0.0, min(t, b) - max(a, 0.0)) for a, b in slow)
        return t + (slower - 1.0) * extra

    return lambda t: float(line.x + line.w * shown_s(t) / max(shown_s(end_s), 1e-9))

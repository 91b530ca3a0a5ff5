"""Colours and sizes of everything drawn: two themes, one scale. Colour belongs to data; the rest is neutral grey.

Contrast and colour-blind distances of these tables are computed in tests/viz/draw/test_theme.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

Colour = tuple[int, int, int]

# Type sizes at scale 1, px; nothing is drawn smaller than SMALL.
SMALL, BODY, TITLE, READING, MAIN = 14, 16, 18, 26, 34


def _rgb(code: str) -> Colour:
    return int(code[1:3], 16), int(code[3:5], 16), int(code[5:7], 16)


@lru_cache(maxsize=2048)
def mix(a: Colour, b: Colour, share: float) -> Colour:
    """Colour between a and b; share 0 gives a, 1 gives b."""
    return tuple(round(x + (y - x) * share) for x, y in zip(a, b, strict=True))  # type: ignore[return-value]


@dataclass(frozen=True)
class Theme:
    """One table of colours.

    belts, belt_backs: by the belt's place in the machine (first A, then B, then a third).
    designs: compared machines, always in this order.  laid: the printed line.  asked: the path asked for.
    to_come: strength of a curve beyond the clock, once the clock has moved.
    """

    name: str
    page: Colour
    panel: Colour
    raised: Colour
    line: Colour
    grid: Colour
    text: Colour
    dim: Colour
    control: Colour
    track: Colour
    belts: tuple[Colour, Colour, Colour]
    belt_backs: tuple[Colour, Colour, Colour]
    x: Colour
    y: Colour
    designs: tuple[Colour, Colour, Colour]
    asked: Colour
    laid: Colour
    alarm: Colour
    frame: Colour
    metal: Colour
    pulley: Colour
    carriage: Colour
    shadow: int
    to_come: float

    def axis(self, name: str) -> Colour:
        """Colour of the deviation along "x" or "y"."""
        return self.x if name == "x" else self.y

    def faded(self, colour: Colour, share: float = 0.4) -> Colour:
        """That colour on a panel at `share` of its strength (what is still to come, a result gone stale)."""
        return mix(self.panel, colour, share)


DARK = Theme(
    name="dark",
    page=_rgb("#121518"),
    panel=_rgb("#1A1E22"),
    raised=_rgb("#262C32"),
    line=_rgb("#3A424A"),
    grid=_rgb("#2A3036"),
    text=_rgb("#E8ECEE"),
    dim=_rgb("#A3ADB5"),
    control=_rgb("#D5DCE1"),
    track=_rgb("#66717B"),
    belts=(_rgb("#F2A33A"), _rgb("#5FB0EA"), _rgb("#D8F0A4")),
    belt_backs=(_rgb("#FFD08A"), _rgb("#B5DDFB"), _rgb("#F0FAD7")),
    x=_rgb("#35C2A5"),
    y=_rgb("#D583E8"),
    designs=(_rgb("#ECDE7C"), _rgb("#9DB4FF"), _rgb("#E58F8F")),
    asked=_rgb("#8C969E"),
    laid=_rgb("#EDE6D6"),
    alarm=_rgb("#FF6F59"),
    frame=_rgb("#343B42"),
    metal=_rgb("#5A636C"),
    pulley=_rgb("#AEB7BE"),
    carriage=_rgb("#4A535C"),
    shadow=150,
    to_come=0.68,
)

LIGHT = Theme(
    name="light",
    page=_rgb("#ECEEEF"),
    panel=_rgb("#FBFBFA"),
    raised=_rgb("#EEF0F1"),
    line=_rgb("#C5CBD0"),
    grid=_rgb("#E1E5E8"),
    text=_rgb("#171B1F"),
    dim=_rgb("#55606A"),
    control=_rgb("#2B333A"),
    track=_rgb("#8A939B"),
    belts=(_rgb("#A85900"), _rgb("#1B6FB5"), _rgb("#2E3A18")),
    belt_backs=(_rgb("#8A4A00"), _rgb("#0C4679"), _rgb("#1C230B")),
    x=_rgb("#00806A"),
    y=_rgb("#8E2F9A"),
    designs=(_rgb("#7A6F1A"), _rgb("#4A5BC4"), _rgb("#993E54")),
    asked=_rgb("#7B858D"),
    laid=_rgb("#33302A"),
    alarm=_rgb("#C62F16"),
    frame=_rgb("#B9C0C6"),
    metal=_rgb("#9AA3AB"),
    pulley=_rgb("#6E7881"),
    carriage=_rgb("#C9CFD4"),
    shadow=205,
    to_come=0.86,
)

THEMES = {"dark": DARK, "light": LIGHT}


@dataclass(frozen=True)
class Look:
    """A theme at a scale: what drawing functions take.  px(n): n pixels of the design at this scale, at least 1."""

    theme: Theme
    scale: float = 1.0

    def px(self, pixels: float) -> int:
        return max(1, int(pixels * self.scale + 0.5))


@lru_cache(maxsize=64)
def look(theme: str, scale: float = 1.0) -> Look:
    """The look of that name ("dark" or "light") at that scale; ValueError with the choices for another name."""
    if theme not in THEMES:
        raise ValueError(f"theme {theme!r}: choose dark or light")
    return Look(THEMES[theme], scale)

"""Text: the one typeface, a bounded cache of rendered words, and how numbers are written.

The typeface is Source Sans Pro (SIL Open Font License), read from the data package font-source-sans-pro.
Text is placed by its baseline, so that a large number and its small unit stand on one line.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import as_file, files
from typing import Literal

import pygame

from .theme import Colour, Look

Align = Literal["left", "right", "center"]

MINUS = "−"
THIN = "\u202f"  # narrow no-break space: the thin space that the typeface has
#: Of rendered words so many are kept, and no more pixels of them than these (6 MB): at large scales few fit.
_CACHE_LIMIT, _CACHE_PIXELS = 1500, 1_500_000
_cache: OrderedDict[tuple[str, int, bool, Colour], pygame.Surface] = OrderedDict()
_kept = [0]  # pixels in it


@dataclass(frozen=True)
class Placed:
    """A word that was drawn, where, and within which clip: kept only while a `Log` is open (tests)."""

    text: str
    rect: pygame.Rect
    clip: pygame.Rect
    size: int


class Log:
    """Records every word drawn inside a `with` block, so that a test can say that none left its panel."""

    active: Log | None = None

    def __init__(self) -> None:
        self.words: list[Placed] = []

    def moved(self, since: int, by: tuple[int, int]) -> None:
        """Words from that number on were drawn on an image that stands at `by` in the picture."""
        self.words[since:] = [Placed(w.text, w.rect.move(by), w.clip.move(by), w.size) for w in self.words[since:]]

    def __enter__(self) -> Log:
        Log.active = self
        return self

    def __exit__(self, *_: object) -> None:
        Log.active = None


#: Each is 0.2 MB with its letters; a scale needs a dozen.
_FONTS = 40


@lru_cache(maxsize=_FONTS)
def font(size: int, bold: bool = False) -> pygame.font.Font:
    """The typeface at a pixel size; regular, or semibold where bold."""
    if not pygame.font.get_init():
        pygame.font.init()
    name = "SourceSansPro-Semibold.ttf" if bold else "SourceSansPro-Regular.ttf"
    with as_file(files("font_source_sans_pro") / "files" / name) as path:
        return pygame.font.Font(str(path), size)


def forget_fonts() -> None:
    """Drop cached fonts and words; needed after pygame.font.quit, whose fonts are dead."""
    font.cache_clear()
    _width.cache_clear()
    _cache.clear()
    _kept[0] = 0


def _rendered(text: str, size: int, bold: bool, colour: Colour) -> pygame.Surface:
    key = (text, size, bold, colour)
    surface = _cache.get(key)
    if surface is None:
        surface = font(size, bold).render(text, True, colour)
        _cache[key] = surface
        _kept[0] += surface.get_width() * surface.get_height()
        while len(_cache) > _CACHE_LIMIT or _kept[0] > _CACHE_PIXELS:
            _, old = _cache.popitem(last=False)
            _kept[0] -= old.get_width() * old.get_height()
    else:
        _cache.move_to_end(key)
    return surface


def width(look: Look, text: str, size: int = 16, bold: bool = False) -> int:
    """Width of the text in px at this look."""
    return _width(text, look.px(size), bold)


@lru_cache(maxsize=4096)
def _width(text: str, pixels: int, bold: bool) -> int:
    return font(pixels, bold).size(text)[0]


def draw(
    surface: pygame.Surface,
    look: Look,
    text: str,
    x: float,
    baseline: float,
    size: int = 16,
    *,
    bold: bool = False,
    colour: Colour | None = None,
    align: Align = "left",
    back: Colour | None = None,
) -> pygame.Rect:
    """Write text with its baseline at `baseline`; returns where it stands. back: a plate of that colour behind it."""
    pixels = look.px(size)
    image = _rendered(text, pixels, bold, colour or look.theme.text)
    left = x if align == "left" else x - image.get_width() if align == "right" else x - image.get_width() / 2
    rect = image.get_rect(topleft=(round(left), round(baseline) - font(pixels, bold).get_ascent()))
    if back is not None:
        plate = pygame.Rect(
            rect.x - look.px(5), round(baseline) - round(pixels * 0.9), rect.w + look.px(10), round(pixels * 1.2)
        )
        pygame.draw.rect(surface, back, plate, border_radius=look.px(3))
    surface.blit(image, rect)
    if Log.active is not None and text.strip():
        ink = ink_of(look, rect.x, round(baseline), rect.w, size)
        Log.active.words.append(Placed(text, ink, surface.get_clip(), pixels))
    return rect


def ink_of(look: Look, left: int, baseline: int, wide: int, size: int) -> pygame.Rect:
    """What a line of words covers, px: from the top of its capitals to the foot of its descenders."""
    pixels = look.px(size)
    return pygame.Rect(left, baseline - round(0.72 * pixels), wide, round(0.92 * pixels))


def draw_pair(
    surface: pygame.Surface,
    look: Look,
    value: str,
    unit: str,
    x: float,
    baseline: float,
    size: int = 26,
    unit_size: int = 16,
    *,
    colour: Colour | None = None,
    align: Align = "left",
) -> pygame.Rect:
    """A bold value and its dim unit on one baseline; returns the rectangle of both."""
    gap = look.px(5)
    total = width(look, value, size, True) + (gap + width(look, unit, unit_size) if unit else 0)
    left = x if align == "left" else x - total if align == "right" else x - total / 2
    rect = draw(surface, look, value, left, baseline, size, bold=True, colour=colour)
    if unit:
        rect = rect.union(draw(surface, look, unit, rect.right + gap, baseline, unit_size, colour=look.theme.dim))
    return rect


def fit(look: Look, text: str, room: float, size: int = 16, bold: bool = False) -> str:
    """The text, or as much of it as fits into `room` px, ended by an ellipsis."""
    if width(look, text, size, bold) <= room:
        return text
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if width(look, text[:middle].rstrip() + "…", size, bold) <= room:
            low = middle
        else:
            high = middle - 1
    return text[:low].rstrip() + "…" if low else ""


def wrap(look: Look, text: str, room: float, size: int = 16, bold: bool = False) -> list[str]:
    """The text broken at spaces into lines no wider than `room` px (one long word stays whole; % stays with its number)."""
    lines: list[str] = []
    for paragraph in text.replace(" %", "\u00a0%").split("\n"):
        line = ""
        for word in paragraph.split(" "):
            longer = f"{line} {word}" if line else word
            if line and width(look, longer, size, bold) > room:
                lines.append(line)
                line = word
            else:
                line = longer
        lines.append(line)
    return lines


def number(value: float, decimals: int = 0, *, signed: bool = False) -> str:
    """A number as people write it: true minus, thin grouping from five digits, "–" for what is undefined.

    signed: a plus where it is positive (after rounding; zero has no sign).
    """
    if not math.isfinite(value):
        return "–"
    text = f"{abs(value):.{decimals}f}"
    zero = float(text) == 0.0
    whole, dot, rest = text.partition(".")
    if len(whole) > 3:
        groups = []
        while whole:
            groups.append(whole[-3:])
            whole = whole[:-3]
        whole = THIN.join(reversed(groups))
    sign = "" if zero else MINUS if value < 0 else "+" if signed else ""
    return sign + whole + dot + rest


def sensible(value: float, digits: int = 3, *, signed: bool = False) -> str:
    """A number rounded to about `digits` figures, never in exponent form."""
    if not math.isfinite(value) or value == 0:
        return number(value, signed=signed)
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    return number(value, min(decimals, 6), signed=signed)


def plain(value: float, digits: int = 4) -> str:
    """A setting as a person would type it: up to `digits` figures, no idle zeros, true minus, thin grouping."""
    if not math.isfinite(value):
        return "–"
    if value == 0:
        return "0"
    decimals = min(6, max(0, digits - 1 - math.floor(math.log10(abs(value)))))
    written = number(value, decimals)
    return written.rstrip("0").rstrip(".") if "." in written else written


def micrometres(value_m: float, *, signed: bool = False) -> str:
    """A length in µm without its unit: one decimal below 10 µm, none from there."""
    value = value_m * 1e6
    return number(value, 1 if abs(value) < 9.95 else 0, signed=signed)


def length(value_m: float, *, signed: bool = False) -> str:
    """A length with its unit: µm as `micrometres` has them, from 1 mm on millimetres."""
    if abs(value_m) >= 0.9995e-3:
        return f"{sensible(value_m * 1e3, signed=signed)} mm"
    return f"{micrometres(value_m, signed=signed)} µm"

"""The printed line as a wall: one column a design, the ten millimetres after a corner, in grazing light."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import pygame
from beltspring.sim import Wall

from ...charts.corners import worst_corner
from ...charts.panels import panel
from ...charts.shown import Shown
from ...charts.wall import WallPicture, calm_words
from ...draw import text
from ...draw.canvas import rounded
from ...draw.theme import Look
from ..controls.buttons import Choice
from ..controls.control import Control
from ..controls.slider import Range, Slider
from ..stage import Stage
from .screen import inside, veil

Design = tuple[str, Shown, int, bool]
MOST_CORNERS = 5  # more are not offered one by one
WORST = "the worst"
ALIKE = 1.05  # a corner that rings more than another by less is no other worst


class WallView:
    """designs(): what the screen shows, (label, run, colour number, stale)."""

    def __init__(self, stage: Stage, designs: Callable[[], Sequence[Design]]) -> None:
        self.stage, self.designs = stage, designs
        self.light = Slider(
            "light", "Light", Range(3.0, 30.0, "°", 0.5, 1, False), 20.0, 20.0, lambda *_: None,
            "How high over the wall the light stands: the flatter, the more of a ripple shows.",
        )  # fmt: skip
        self.corner = Choice("corner", [WORST], 0, lambda _: None, "Which corner the wall begins at.")
        self._wish = WORST
        self.columns: list[pygame.Rect] = []
        self._pictures = [WallPicture() for _ in range(3)]
        self._walls: dict[tuple[int, int], Wall | None] = {}
        self._head = pygame.Rect(0, 0, 0, 0)

    def like(self, other: WallView) -> None:
        """Take over corner and light."""
        self._wish, self.light.value = other.chosen, other.light.value

    def forget(self) -> None:
        """Drop images and walls."""
        for picture in self._pictures:
            picture.forget()
        self._walls.clear()

    @property
    def chosen(self) -> str:
        """The corner asked for."""
        return self.corner.labels[self.corner.value]

    def _offer(self) -> None:
        """The corners of the first design that a wall follows."""
        corners = self.designs()[0][1].corners[:-1]
        names = [c.name for c in corners] if len(corners) <= MOST_CORNERS else []
        wanted = [*names, WORST]
        if wanted != self.corner.labels:
            kept = self._wish if self.corner.labels == [WORST] else self.chosen
            self.corner.labels = wanted
            self.corner.value = wanted.index(kept) if kept in wanted else len(wanted) - 1

    def wall(self, shown: Shown) -> tuple[str, Wall | None]:
        """The name of the corner shown of a run, and its wall. The worst is the first design's, and the same in all: two
        designs at unlike corners are no comparison. Where a run has no corner of that name, its own worst."""
        wanted = self.chosen
        if wanted == WORST:
            first = self.designs()[0][1]
            number = self._worst(first)
            wanted = WORST if number is None else first.corners[number].name
        numbers = [k for k, c in enumerate(shown.corners) if c.name == wanted]
        number = numbers[0] if numbers else self._worst(shown)
        return (wanted, None) if number is None else (shown.corners[number].name, self._wall(shown, number))

    def _worst(self, shown: Shown) -> int | None:
        """The corner of a run after which it rings most, of those that a wall follows; None where none does."""
        corners = shown.corners
        worst = worst_corner(shown.result, corners)
        if worst is not None and self._wall(shown, worst) is not None:
            return worst
        walls = [(k, self._wall(shown, k)) for k in range(min(len(corners), 40))]
        found = [(w.peak_m, k) for k, w in walls if w is not None]
        return max(found)[1] if found else None

    def _worse_elsewhere(self, shown: Shown, here: Wall) -> str:
        """Where a run rings more than after the corner shown, in words, while the worst is asked for; else ""."""
        number = self._worst(shown) if self.chosen == WORST else None
        wall = None if number is None else self._wall(shown, number)
        if number is None or wall is None or wall.peak_m <= ALIKE * here.peak_m:
            return ""
        return f"its own worst is {shown.corners[number].name}: {text.micrometres(wall.peak_m)} µm"

    def _wall(self, shown: Shown, number: int) -> Wall | None:
        key = (shown.serial, number)
        if key not in self._walls:
            if len(self._walls) > 200:
                self._walls.clear()
            self._walls[key] = shown.result.wall(number)
        return self._walls[key]

    def layout(self, head: pygame.Rect, rect: pygame.Rect, look: Look) -> list[Control]:
        """Controls along `head`, columns in `rect`."""
        self._offer()
        self._head = head
        x = head.x + text.width(look, "after", 16) + look.px(12)
        room = head.right - x - look.px(200)
        wide = min(self.corner.natural_width(look) + look.px(24), room)
        self.corner.rect = pygame.Rect(x, head.y, wide, head.h)
        light = min(look.px(250), head.right - self.corner.rect.right - look.px(28))
        self.light.rect = pygame.Rect(head.right - light, head.y - look.px(8), light, look.px(44))
        designs = self.designs()
        gap = look.px(16)
        w = (rect.w - gap * (len(designs) - 1)) // len(designs)
        self.columns = [pygame.Rect(rect.x + k * (w + gap), rect.y, w, rect.h) for k in range(len(designs))]
        return [self.corner, self.light]

    def draw(self, target: pygame.Surface, look: Look) -> None:
        """Every column, on common scales."""
        head, dim = self._head, look.theme.dim
        text.draw(target, look, "after", head.x, head.centery + look.px(5), 16, colour=dim)
        self.stage.draw_controls(target, look, [self.corner, self.light])
        found = [self.wall(shown) for _, shown, _, _ in self.designs()]
        walls = [wall for _, wall in found if wall is not None]
        length = max((float(w.along_m[-1]) for w in walls), default=0.010)
        length = math.ceil(length * 1e3 - 1e-6) * 1e-3
        most = max((w.peak_m for w in walls), default=1e-6)
        for k, (column, design, (name, wall)) in enumerate(zip(self.columns, self.designs(), found, strict=True)):
            with inside(target, column):
                self._column(target, look, column, k, design, name, wall, length, most)

    def _column(
        self, target: pygame.Surface, look: Look, rect: pygame.Rect, k: int, design: Design, name: str,
        wall: Wall | None, length: float, most: float,
    ) -> None:  # fmt: skip
        label, shown, colour, stale = design
        title = shown.result.title if colour < 0 else label
        about = "" if wall is None else f"at {text.number(wall.speed_m_s * 1e3)} mm/s, after {name}"
        box = panel(target, look, rect, text.fit(look, title, rect.w * 0.5, 18, True), "", about, look.theme.text)
        if colour >= 0:
            rounded(target, pygame.Rect(box.x, rect.y, box.w, look.px(4)), look.px(2), look.theme.designs[colour % 3])
        if wall is None:
            words = "No straight wall follows this corner."
            text.draw(target, look, words, box.centerx, box.centery, 16, colour=look.theme.dim, align="center")
            return
        foot = look.px(58)
        ink = look.theme.designs[colour % 3] if colour >= 0 else look.theme.text
        area = pygame.Rect(box.x, box.y + look.px(4), box.w, box.h - foot - look.px(4))
        self._pictures[k % 3].draw(
            target, area, look, wall, ink, length_m=length, most_m=most, light_rad=math.radians(self.light.value),
            now_s=self.stage.clock.time_s,
        )  # fmt: skip
        base = box.bottom - look.px(28)
        said = f"µm off the line after {name}"
        text.draw_pair(target, look, text.micrometres(wall.peak_m), text.fit(look, said, box.w * 0.8, 16), box.x, base)
        words = calm_words(wall)
        wordings: tuple[str, ...] = (f"{words}; heights are true, layers 0.2 mm", f"{words}; heights are true", words)
        own = self._worse_elsewhere(shown, wall)
        if own:
            wordings = (f"{own}; {words} here", own)
        said = next((w for w in wordings if text.width(look, w, 14) <= box.w), text.fit(look, words, box.w, 14))
        text.draw(target, look, said, box.x, base + look.px(25), 14, colour=look.theme.dim)
        if stale:
            veil(target, look, area)

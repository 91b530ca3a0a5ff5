"""Buttons, choices (one of a few, side by side) and tabs."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
import pygame

from ...draw import text
from ...draw.canvas import Layer, arc_stroke, framed, rounded, shrunk
from ...draw.theme import Colour, Look, mix
from .control import Control, Key, Pointer

Action = Callable[[], None]


class Button(Control):
    """A button that does one thing. icon: one of ICONS instead of words.  filled: drawn in the active colour."""

    def __init__(
        self,
        name: str,
        label: str,
        action: Action,
        tip: str = "",
        *,
        icon: str = "",
        filled: bool = False,
        chosen: bool = False,
    ) -> None:
        super().__init__(name, tip)
        self.label = label
        self.action = action
        self.icon = icon
        self.filled = filled
        self.chosen = chosen
        self._down = False

    def natural_width(self, look: Look) -> int:
        """Width that its words need."""
        return text.width(look, self.label, 16) + look.px(24)

    def draw(self, target: pygame.Surface, look: Look, *, focused: bool, hovered: bool) -> None:
        theme = look.theme
        fill = theme.control if self.filled else theme.raised
        if hovered and self.enabled:
            fill = mix(fill, theme.text, 0.06 if not self.filled else -0.06 if theme.name == "dark" else 0.12)
        if self._down:
            fill = mix(fill, theme.page, 0.25)
        ink = theme.panel if self.filled else theme.text
        if not self.enabled:
            fill, ink = mix(theme.panel, theme.raised, 0.6), mix(theme.panel, theme.dim, 0.7)
        border = theme.control if self.chosen else mix(theme.line, theme.raised, 0.25)
        if self.filled:
            rounded(target, self.rect, look.px(6), fill)
        else:
            framed(target, self.rect, look.px(6), fill, border, look.px(2 if self.chosen else 1))
        if self.icon:
            draw_icon(target, look, self.rect, self.icon, ink, fill)
        else:
            words = text.fit(look, self.label, self.rect.w - look.px(10), 16)
            text.draw(
                target, look, words, self.rect.centerx, self.rect.centery + look.px(5), 16, colour=ink, align="center"
            )

    def press(self, pointer: Pointer) -> None:
        self._down = True

    def release(self, pointer: Pointer) -> None:
        was = self._down
        self._down = False
        if was and self.rect.collidepoint(pointer.pos):
            self.action()

    def key(self, key: Key) -> bool:
        if key.key in (pygame.K_RETURN, pygame.K_KP_ENTER, pygame.K_SPACE) and not key.ctrl:
            self.action()
            return True
        return False


class IconWord(Button):
    """A button with a sign and its word beside it."""

    def natural_width(self, look: Look) -> int:
        return text.width(look, self.label, 16) + look.px(46)

    def draw(self, target: pygame.Surface, look: Look, *, focused: bool, hovered: bool) -> None:
        theme = look.theme
        fill = mix(theme.raised, theme.text, 0.16 if self.chosen else 0.06 if hovered else 0.0)
        framed(target, self.rect, look.px(6), fill, mix(theme.line, theme.raised, 0.25), look.px(1))
        left = pygame.Rect(self.rect.x + look.px(4), self.rect.y, look.px(32), self.rect.h)
        draw_icon(target, look, left, self.icon, theme.text, fill)
        text.draw(target, look, self.label, left.right, self.rect.centery + look.px(5), 16)


SPARE = 3.4  # room around a choice's words, in letters


class Choice(Control):
    """One of a few, side by side. labels: as written; `value` is the index; on_change(index)."""

    def __init__(
        self, name: str, labels: Sequence[str], value: int, on_change: Callable[[int], None], tip: str = ""
    ) -> None:
        super().__init__(name, tip)
        self.labels = list(labels)
        self.value = value
        self.on_change = on_change

    def natural_width(self, look: Look) -> int:
        """Width that all its words need."""
        return sum(text.width(look, label, 16, True) + look.px(22) for label in self.labels)

    def cells(self) -> list[pygame.Rect]:
        """One rectangle for each label."""
        share = [len(label) + SPARE for label in self.labels]
        ends = [0, *itertools.accumulate(share)]
        edges = [round(self.rect.x + self.rect.w * end / ends[-1]) for end in ends]
        return [pygame.Rect(a, self.rect.y, b - a, self.rect.h) for a, b in itertools.pairwise(edges)]

    def draw(self, target: pygame.Surface, look: Look, *, focused: bool, hovered: bool) -> None:
        theme = look.theme
        framed(target, self.rect, look.px(6), mix(theme.panel, theme.raised, 0.45), theme.line, look.px(1))
        for k, cell in enumerate(self.cells()):
            chosen = k == self.value
            if chosen:
                rounded(target, cell.inflate(-2, -2), look.px(5), mix(theme.raised, theme.text, 0.16))
            colour = theme.text if chosen else theme.dim
            words = text.fit(look, self.labels[k], cell.w - look.px(4), 16, chosen)
            text.draw(
                target,
                look,
                words,
                cell.centerx,
                cell.centery + look.px(5),
                16,
                bold=chosen,
                colour=colour,
                align="center",
            )

    def _pick(self, index: int) -> None:
        index = max(0, min(len(self.labels) - 1, index))
        if index != self.value:
            self.value = index
            self.on_change(index)

    def press(self, pointer: Pointer) -> None:
        for k, cell in enumerate(self.cells()):
            if cell.collidepoint(pointer.pos):
                self._pick(k)

    def key(self, key: Key) -> bool:
        if key.key in (pygame.K_LEFT, pygame.K_UP):
            self._pick(self.value - 1)
        elif key.key in (pygame.K_RIGHT, pygame.K_DOWN):
            self._pick(self.value + 1)
        elif key.key == pygame.K_HOME:
            self._pick(0)
        elif key.key == pygame.K_END:
            self._pick(len(self.labels) - 1)
        else:
            return False
        return True


class Tab(Button):
    """The title of a screen in the top bar; the chosen one has a rule below."""

    def natural_width(self, look: Look) -> int:
        return text.width(look, self.label, 18, True)

    def draw(self, target: pygame.Surface, look: Look, *, focused: bool, hovered: bool) -> None:
        theme = look.theme
        colour = theme.text if self.chosen or hovered else theme.dim
        text.draw(
            target, look, self.label, self.rect.x, self.rect.centery + look.px(6), 18, bold=self.chosen, colour=colour
        )
        if self.chosen:
            target.fill(theme.text, (self.rect.x, self.rect.bottom - look.px(3), self.rect.w, look.px(3)))

    def ring_rect(self) -> pygame.Rect:
        return self.rect.inflate(8, -self.rect.h // 3)


def draw_icon(target: pygame.Surface, look: Look, rect: pygame.Rect, name: str, ink: Colour, ground: Colour) -> None:
    """The signs of the clock, drawn: start, back, play, pause, forward, repeat."""
    size = look.px(20)
    target.blit(_icon(name, size, ink, ground), (rect.centerx - size // 2, rect.centery - size // 2))


@lru_cache(maxsize=64)
def _icon(name: str, size: int, ink: Colour, ground: Colour) -> pygame.Surface:
    layer = Layer((size, size), 4, brief=True)
    layer.surface.fill(ground)
    s = size * 4 / 20.0

    def tri(points: list[tuple[float, float]]) -> None:
        pygame.draw.polygon(layer.surface, ink, [(x * s, y * s) for x, y in points])

    def bar(x: float, y: float, w: float, h: float) -> None:
        layer.surface.fill(ink, (round(x * s), round(y * s), round(w * s), round(h * s)))

    if name == "play":
        tri([(5, 3), (17, 10), (5, 17)])
    elif name == "pause":
        bar(5, 3.5, 3.6, 13)
        bar(11.4, 3.5, 3.6, 13)
    elif name == "start":
        bar(3.5, 4, 2.4, 12)
        tri([(16, 4), (6.6, 10), (16, 16)])
    elif name == "back":
        bar(5, 4, 2.4, 12)
        tri([(15, 5.4), (8, 10), (15, 14.6)])
    elif name == "forward":
        tri([(5, 5.4), (12, 10), (5, 14.6)])
        bar(12.6, 4, 2.4, 12)
    elif name == "repeat":
        # Two arrows in a circle.
        for turn in (0.0, math.pi):
            arc_stroke(layer.surface, (10 * s, 10 * s), 6.4 * s, turn + 0.35, math.pi - 1.05, 2.0 * s, ink)
            tip = np.array([math.cos(turn + 0.25), -math.sin(turn + 0.25)]) * 6.4
            along = np.array([math.sin(turn + 0.25), math.cos(turn + 0.25)])
            out = np.array([along[1], -along[0]])
            points = [tip + along * 3.6, tip - along * 1.2 + out * 3.4, tip - along * 1.2 - out * 3.4]
            tri([(10 + float(x), 10 + float(y)) for x, y in points])
    return shrunk(layer.surface, layer.size)

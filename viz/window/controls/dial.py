"""A dial: a toothed pulley that is turned by dragging round its hub; the angle goes on past a turn."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
import pygame

from ...draw import text
from ...draw.canvas import Layer, arc_stroke, framed, line_stroke, shrunk
from ...draw.parts import gear_outline
from ...draw.theme import Colour, Look, Theme, mix
from .control import Control, Key, Pointer

ZERO = math.pi / 2  # the mark of a motor at rest points to the rear: 12 o'clock, in the dial as in the view


class Dial(Control):
    """on_turn(change_rad) when it is turned; the angle itself is set from outside, so that limits hold it back.

    keys: the letters that turn it counter-clockwise and clockwise; none in a film, where nobody turns it.
    """

    def __init__(
        self, name: str, label: str, keys: tuple[str, ...], teeth: int, on_turn: Callable[[float], None], tip: str
    ) -> None:
        super().__init__(name, tip)
        self.label = label
        self.keys = keys
        self.teeth = teeth
        self.on_turn = on_turn
        #: which colour it has in a theme: its motor's
        self.colour: Callable[[Theme], Colour] = lambda theme: theme.belts[0]
        #: a brake holds it: it is not to be turned
        self.held = False
        #: its keys stand below its words, where dials are narrow
        self.stacked = False
        self.angle = 0.0
        self.belt_m = 0.0
        self.pressed_keys: set[str] = set()
        self._hand: float | None = None

    def circle(self) -> tuple[tuple[int, int], int]:
        """Middle and radius of the dial's face, px."""
        head = round(12 * self._scale) if self.held else 0
        radius = max(10, min(self.rect.w // 2 - 2, (self.rect.h - self._foot - head) // 2))
        return (self.rect.centerx, self.rect.y + head + radius + 1), radius

    @property
    def _foot(self) -> int:
        return round((46 if self.held else 100 if self.stacked else 66) * self._scale)

    _scale = 1.0

    def hit(self, pos: tuple[int, int]) -> bool:
        (x, y), radius = self.circle()
        if self.held:
            return False
        return math.hypot(pos[0] - x, pos[1] - y) <= radius + 4

    def ring_rect(self) -> pygame.Rect:
        (x, y), radius = self.circle()
        return pygame.Rect(x - radius, y - radius, 2 * radius, 2 * radius)

    def _angle_of(self, pos: tuple[int, int]) -> float:
        (x, y), _ = self.circle()
        return math.atan2(y - pos[1], pos[0] - x)

    def press(self, pointer: Pointer) -> None:
        self._hand = self._angle_of(pointer.pos)

    def drag(self, pointer: Pointer) -> None:
        if self._hand is None:
            return
        now = self._angle_of(pointer.pos)
        change = (now - self._hand + math.pi) % (2 * math.pi) - math.pi
        self._hand = now
        if change:
            self.on_turn(change)

    def release(self, pointer: Pointer) -> None:
        self._hand = None

    def wheel(self, steps: int, pointer: Pointer) -> bool:
        self.on_turn(math.radians((1.0 if pointer.shift else 5.0) * steps))
        return True

    def key(self, key: Key) -> bool:
        amount = math.radians(1.0 if key.shift else 5.0)
        if key.ctrl or key.alt:
            return False
        if key.key in (pygame.K_LEFT, pygame.K_UP):
            self.on_turn(amount)
        elif key.key in (pygame.K_RIGHT, pygame.K_DOWN):
            self.on_turn(-amount)
        else:
            return False
        return True

    def draw(self, target: pygame.Surface, look: Look, *, focused: bool, hovered: bool) -> None:
        self._scale = look.scale
        theme = look.theme
        colour = self.colour(theme)
        (x, y), radius = self.circle()
        size = 2 * radius + 8
        layer = Layer((size, size), 2, brief=True)
        layer.surface.fill(theme.panel)
        _paint_face(layer, look, radius * 2.0, self.angle, self.teeth, colour, hovered or self._hand is not None)
        layer.onto(target, (x - size // 2, y - size // 2))
        if self.held:
            self._brake(target, look, x, y, radius, colour)
            return
        top = y + radius
        text.draw(target, look, self.label, x, top + look.px(22), 18, bold=True, colour=colour, align="center")
        degrees = f"{text.number(math.degrees(self.angle), 0, signed=True)}°"
        text.draw(target, look, degrees, x, top + look.px(43), 16, bold=True, align="center")
        wordings = turn_words(self.angle, self.belt_m)
        room = self.rect.w - look.px(4)
        words = next((w for w in wordings if text.width(look, w, 14) <= room), wordings[-1])
        text.draw(target, look, words, x, top + look.px(62), 14, colour=theme.dim, align="center")
        for side, cap, letter in zip((-1, 1), self.caps(look), self.keys, strict=False):
            aside = (cap.centerx + side * (cap.w // 2 + look.px(11)), cap.centery)
            at = aside if self.stacked else (cap.centerx, cap.bottom + look.px(12))
            draw_key_cap(target, look, cap, letter, letter in self.pressed_keys)
            turn_arrow(target, look, at, look.px(8), -side, theme.dim, theme.panel)

    def caps(self, look: Look) -> tuple[pygame.Rect, pygame.Rect]:
        """Where its two keys are drawn: beside its name, or below its words, with room for an arrow outside."""
        (x, y), radius = self.circle()
        top, found = y + radius, []
        wide = text.width(look, self.label, 18, True) // 2 + look.px(16)
        for side in (-1, 1):
            cap = pygame.Rect(0, 0, look.px(28 if self.stacked else 30), look.px(26 if self.stacked else 28))
            if self.stacked:
                cap.center = (x + side * (cap.w // 2 + look.px(3)), top + look.px(83))
            else:
                far = max(wide + cap.w // 2, min(look.px(78), self.rect.w // 2 - cap.w // 2))
                cap.center = (x + side * far, top + look.px(16))
            found.append(cap)
        return found[0], found[1]

    def _brake(self, target: pygame.Surface, look: Look, x: int, y: int, radius: int, colour: Colour) -> None:
        """A shoe on the rim, and where the mark stands."""
        theme = look.theme
        shoe = pygame.Rect(0, 0, look.px(26), look.px(9))
        shoe.midbottom = x, y - round(radius * 0.88) + look.px(1)
        framed(target, shoe.inflate(look.px(4), look.px(4)), look.px(4), theme.panel, theme.panel)
        framed(target, shoe, look.px(3), theme.control, theme.control)
        target.fill(theme.control, (x - look.px(1), shoe.bottom, look.px(2), look.px(4)))
        top = y + radius
        text.draw(target, look, self.label, x, top + look.px(20), 18, bold=True, colour=colour, align="center")
        degrees = f"{text.number(math.degrees(self.angle), 0, signed=True)}°, held"
        text.draw(target, look, degrees, x, top + look.px(40), 14, colour=theme.dim, align="center")


def _paint_face(
    layer: Layer, look: Look, radius: float, angle: float, teeth: int, colour: Colour, lively: bool
) -> None:
    """The dial's face in layer pixels: ring of marks, arc swept, pulley, index mark, knob."""
    theme, s = look.theme, layer.surface
    c = np.array(s.get_size()) / 2
    u = 2.0 * look.scale
    rim = radius * 0.88
    pygame.draw.circle(s, theme.raised, c.tolist(), rim)
    pygame.draw.circle(s, theme.line, c.tolist(), rim, max(1, round(u)))
    for k in range(24):
        a = k * math.pi / 12
        d = np.array([math.cos(a), -math.sin(a)])
        inner = rim - (9 if k % 6 == 0 else 5) * u
        line_stroke(
            s, c + d * inner, c + d * (rim - 2 * u), u * (1.2 if k % 6 == 0 else 0.8), mix(theme.dim, theme.raised, 0.3)
        )
    turns, rest = divmod(abs(angle), 2 * math.pi)
    sense = math.copysign(1.0, angle)
    if rest > 1e-3:
        arc_stroke(s, c.tolist(), rim - 3 * u, ZERO, sense * rest, 4.0 * u, colour)
    for k in range(min(int(turns + 1e-9), 3)):
        pygame.draw.circle(
            s, mix(colour, theme.raised, 0.25), c.tolist(), rim - (12 + 6 * k) * u, max(2, round(1.5 * u))
        )
    body = radius * 0.58
    centre = (float(c[0]), float(c[1]))
    pygame.draw.polygon(s, theme.pulley, gear_outline(centre, 0.86 * body, body, teeth, ZERO + angle, 0.26))
    pygame.draw.circle(s, mix(theme.panel, theme.page, 0.5), c.tolist(), body * 0.36)
    d = np.array([math.cos(ZERO + angle), -math.sin(ZERO + angle)])
    line_stroke(s, c, c + d * body * 0.97, 4.6 * u, mix(theme.panel, theme.page, 0.5))
    line_stroke(s, c, c + d * body * 0.97, 3.0 * u, colour)
    pygame.draw.circle(s, colour, c.tolist(), 4.0 * u)
    knob = c + d * rim
    pygame.draw.circle(s, theme.panel, knob.tolist(), (10.5 if lively else 9.5) * u)
    pygame.draw.circle(s, colour, knob.tolist(), (9.0 if lively else 8.0) * u)


def draw_key_cap(target: pygame.Surface, look: Look, rect: pygame.Rect, letter: str, down: bool) -> None:
    """A key of the keyboard."""
    theme = look.theme
    fill = mix(theme.raised, theme.text, 0.22) if down else theme.raised
    framed(target, rect, look.px(5), fill, theme.line, look.px(1))
    text.draw(target, look, letter, rect.centerx, rect.centery + look.px(5), 16, bold=True, align="center")
    if not down:
        target.fill(theme.track, (rect.x + look.px(3), rect.bottom - look.px(3), rect.w - look.px(6), look.px(2)))


def turn_arrow(
    target: pygame.Surface, look: Look, centre: tuple[int, int], radius: int, sense: int, colour: Colour, ground: Colour
) -> None:
    """A turning arrow; sense +1 counter-clockwise, -1 clockwise, 0 a dot at rest."""
    image = _turn_image(radius, sense, colour, ground, look.scale)
    target.blit(image, (centre[0] - image.get_width() // 2, centre[1] - image.get_height() // 2))


@lru_cache(maxsize=128)
def _turn_image(radius: int, sense: int, colour: Colour, ground: Colour, scale: float) -> pygame.Surface:
    size = 2 * radius + max(1, round(8 * scale))
    layer = Layer((size, size), 4)
    layer.surface.fill(ground)
    c = np.array(layer.surface.get_size()) / 2
    r = radius * 4.0
    if sense == 0:
        pygame.draw.circle(layer.surface, mix(colour, ground, 0.3), c.tolist(), 10 * scale)
    else:
        start, sweep = (math.radians(15), math.radians(165)) if sense > 0 else (math.radians(165), -math.radians(165))
        arc_stroke(layer.surface, c.tolist(), r, start, sweep, 8 * scale, colour)
        end = start + sweep
        tip = c + r * np.array([math.cos(end), -math.sin(end)])
        along = sense * np.array([-math.sin(end), -math.cos(end)])
        out = np.array([math.cos(end), -math.sin(end)])
        head = 15 * scale
        pygame.draw.polygon(
            layer.surface,
            colour,
            np.rint([tip + along * head, tip + out * head * 0.75, tip - out * head * 0.75]).tolist(),
        )
    return shrunk(layer.surface, layer.size)


def turn_words(angle_rad: float, belt_m: float) -> list[str]:
    """ "1 turn + 135°, belt +55.0 mm", and shorter wordings for less room."""
    degrees = math.degrees(abs(angle_rad))
    belt = f"belt {text.number(belt_m * 1e3, 1, signed=True)} mm"
    if degrees < 0.05:
        return [f"at rest, {belt}", belt]
    turns, rest = divmod(round(degrees, 1), 360.0)
    if turns < 1:
        return [belt]
    whole = f"{int(turns)} turn{'s' if turns > 1 else ''}"
    return [f"{whole} + {text.number(rest)}°, {belt}", belt]

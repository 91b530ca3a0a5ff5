"""Presenting: the screen as large as fits, without settings, and the keys that are pressed with what they do."""

from __future__ import annotations

import pygame

from ..draw import text
from ..draw.canvas import framed, rounded
from ..draw.theme import Look
from ..pages.settings_line import settings_line
from .controls.dial import draw_key_cap
from .film_page import FilmPage
from .keys import KEYS, Group, Key, Row
from .stage import Stage

SHOWN_S = 1.8  # how long a pressed key is shown


def meaning(key: Key) -> Row | None:
    """The row of the key table that a key press belongs to."""
    groups: tuple[Group, ...] = KEYS
    return next((row for group in groups for row in group.rows for chord in row.chords if chord.fits(key)), None)


class Presenting:
    """What a presentation keeps: the page of the ringing test, and the key pressed last."""

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self._page: tuple[tuple[object, ...], FilmPage] | None = None
        self._key: tuple[Row, str, float] | None = None

    def pressed(self, key: Key, time_s: float) -> None:
        """A key went down."""
        row = meaning(key)
        name = pygame.key.name(key.key)
        if row is not None and name:
            words = name if len(name) > 1 else name.upper()
            held = [n for n, on in (("Ctrl", key.ctrl), ("Shift", key.shift)) if on]
            self._key = (row, "+".join([*held, words.capitalize() if len(words) > 1 else words]), time_s)

    def due(self, time_s: float) -> bool:
        """Whether a shown key has to go; it is taken away."""
        if self._key is not None and time_s > self._key[2] + SHOWN_S:
            self._key = None
            return True
        return False

    def page(self) -> FilmPage:
        """The ringing test as a page of its own, for the window's size and theme."""
        shown, size, theme = self.stage.session.shown, self.stage.size, self.stage.theme_name
        key = (shown.serial, size, theme)
        if self._page is None or self._page[0] != key:
            self._page = (key, FilmPage(shown, theme, size, settings_line(shown.result)))
        return self._page[1]

    def draw_page(self, target: pygame.Surface) -> None:
        """The page at the clock."""
        clock = self.stage.clock
        self.page().draw(target, clock.time_s, clock.speed)

    def draw_key(self, target: pygame.Surface, look: Look) -> None:
        """The key pressed last and what it does, at the foot."""
        if self._key is None:
            return
        row, name, _ = self._key
        wide = max(look.px(40), text.width(look, name, 18, True) + look.px(24))
        room = wide + text.width(look, row.words, 18) + look.px(52)
        box = pygame.Rect(0, 0, room, look.px(56))
        box.midbottom = (target.get_width() // 2, target.get_height() - look.px(20))
        framed(target, box, look.px(10), look.theme.raised, look.theme.line, look.px(1))
        cap = pygame.Rect(box.x + look.px(14), box.y + look.px(10), wide, look.px(36))
        if len(name) == 1:
            draw_key_cap(target, look, cap, name, False)
        else:
            rounded(target, cap, look.px(5), look.theme.panel)
            text.draw(target, look, name, cap.centerx, cap.centery + look.px(6), 18, bold=True, align="center")
        text.draw(target, look, row.words, cap.right + look.px(18), box.centery + look.px(6), 18)

"""Panels kept as pictures while the clock stands: then a frame draws anew only what a hand has moved."""

from __future__ import annotations

from collections.abc import Callable

import pygame

from ...draw import text
from ...draw.canvas import surface


class Kept:
    """The last picture of each of a few panels, with what it was drawn from."""

    def __init__(self) -> None:
        self._pictures: dict[str, tuple[tuple[object, ...], pygame.Surface]] = {}

    def forget(self) -> None:
        """Let go of the pictures."""
        self._pictures.clear()

    def draw(
        self, target: pygame.Surface, name: str, rect: pygame.Rect, key: tuple[object, ...] | None,
        paint: Callable[[], None], before: tuple[object, ...] | None = None,
    ) -> None:  # fmt: skip
        """Put the kept picture of a panel onto `rect`, or let `paint` draw it there.

        key: everything the panel is drawn from; None: it moves, and is not kept.  before: of a picture that will do for this
        frame. While words are recorded every panel is drawn.
        """
        if key is None or text.Log.active is not None:
            self._pictures.pop(name, None)
            paint()
            return
        place = (rect.topleft, rect.size)
        whole, known = (*key, *place), self._pictures.get(name)
        if known is not None and (known[0] == whole or (before is not None and known[0] == (*before, *place))):
            target.blit(known[1], rect.topleft)
            return
        paint()
        picture = known[1] if known is not None and known[1].get_size() == rect.size else surface(rect.size)
        picture.blit(target, (0, 0), rect)
        self._pictures[name] = (whole, picture)

"""Where dials and move buttons stand inside their panels."""

from __future__ import annotations

from collections.abc import Sequence

import pygame

from ...draw.theme import Look
from ..controls.dial import Dial
from .hand import MoveButton


def place_dials(dials: Sequence[Dial], panel: pygame.Rect, look: Look) -> None:
    """Side by side below the panel's title."""
    pad = look.px(20)
    room = panel.inflate(-2 * pad, -2 * pad)
    top = room.y + look.px(32)
    for k, dial in enumerate(dials):
        w = room.w // len(dials)
        dial.rect = pygame.Rect(room.x + k * w + look.px(4), top, w - look.px(8), room.bottom - top + look.px(6))
        dial._scale = look.scale


def place_moves(moves: Sequence[MoveButton], panel: pygame.Rect, look: Look) -> None:
    """Side by side below the panel's title."""
    room = panel.inflate(-2 * look.px(20), -2 * look.px(16))
    top, space = room.y + look.px(30), look.px(10)
    count = max(1, len(moves))
    w = (room.w - space * (count - 1)) // count
    for k, button in enumerate(moves):
        button.rect = pygame.Rect(room.x + k * (w + space), top, w, room.bottom - top + look.px(4))

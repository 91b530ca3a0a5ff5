"""What stands above every screen: the alarm bar, the short message, the tooltip."""

from __future__ import annotations

import pygame

from ..draw import text
from ..draw.canvas import framed, rounded
from ..draw.theme import Look


def draw_alarm(target: pygame.Surface, style: Look, area: pygame.Rect, trouble: str) -> None:
    """Why the newest run failed, as long as it is the newest."""
    if not trouble:
        return
    lines = text.wrap(style, trouble, area.w - style.px(90), 16)[:3]
    height = style.px(24) * len(lines) + style.px(18)
    rect = pygame.Rect(area.x, area.bottom - height + style.px(12), area.w, height)
    framed(target, rect, style.px(8), style.theme.raised, style.theme.alarm, style.px(2))
    baseline = rect.y + style.px(25)
    text.draw(target, style, "!", rect.x + style.px(18), baseline, 18, bold=True, colour=style.theme.alarm)
    for k, line in enumerate(lines):
        text.draw(target, style, line, rect.x + style.px(38), baseline + k * style.px(24), 16)


def draw_message(target: pygame.Surface, style: Look, area: pygame.Rect, message: str) -> None:
    """The short message, if there is one."""
    if not message:
        return
    words = text.fit(style, message, area.w - style.px(60), 16)
    width = text.width(style, words, 16) + style.px(32)
    rect = pygame.Rect(0, 0, width, style.px(36))
    rect.midbottom = (area.centerx, area.bottom - style.px(8))
    rounded(target, rect, style.px(8), style.theme.control)
    text.draw(
        target, style, words, rect.centerx, rect.centery + style.px(5), 16, colour=style.theme.panel, align="center"
    )


def draw_tooltip(target: pygame.Surface, style: Look, words: str, keep: pygame.Rect) -> None:
    """The tooltip, if one is due, beside what it must not cover: below, above, right or left of it."""
    if not words:
        return
    lines = text.wrap(style, words, style.px(340), 14)
    width = max(text.width(style, line, 14) for line in lines) + style.px(20)
    rect = pygame.Rect(0, 0, width, style.px(20) * len(lines) + style.px(12))
    area, gap = target.get_rect().inflate(-8, -8), style.px(6)
    level = keep.centery - rect.h // 2
    for place in (
        (keep.centerx - rect.w // 2, keep.bottom + gap),
        (keep.centerx - rect.w // 2, keep.y - gap - rect.h),
        (keep.right + gap, level),
        (keep.x - gap - rect.w, level),
    ):
        rect.topleft = place
        rect.clamp_ip(area)
        if not rect.colliderect(keep):
            break
    framed(target, rect, style.px(6), style.theme.control, style.theme.control)
    for k, line in enumerate(lines):
        baseline = rect.y + style.px(20) * (k + 1)
        text.draw(target, style, line, rect.x + style.px(10), baseline, 14, colour=style.theme.panel)

"""A film of the bench: every move once, in a sentence, with the machine, its motors and what the carriage does."""

from __future__ import annotations

from functools import partial

import pygame
from beltspring.sim import Report

from ..draw.arms import ArmsView, view_of
from ..draw.belt_colours import motor_colour
from ..draw.canvas import rounded
from .controls.dial import Dial
from .film_parts import LARGER, LEAST_BOTH, FilmLaid, Told, draw_frame, draw_line, draw_rate, film_look
from .screens.bars import draw_bars
from .screens.bench import MOVE_S
from .screens.bench_arms import ArmsBench, bench_of
from .screens.bench_show import PAUSE_S, MovesShown
from .screens.carriage_panel import draw_carriage

WAYS = {"same way": "the same way", "opposite ways": "opposite ways"}
BEGUN_S = 0.1  # at rest there is nothing to tell


class BenchPage(FilmLaid):
    """Draws a machine's moves into a picture of `size`, px; time goes on by `advance`, in real time."""

    name, title, uses_clock = "mixing", "Mixing bench", False

    def __init__(self, report: Report, theme: str, size: tuple[int, int], settings: str) -> None:
        self.size, self.settings = size, settings
        self.look, self.big = film_look(theme, size), film_look(theme, size, LARGER)
        machine = report.machine
        self.bench, self.view = bench_of(machine), view_of(machine)
        self.moves = self.bench.moves()[:4]
        self.now, self._at_s = 0, 0.0
        self._show = MovesShown(self.bench, len(self.moves), self._play)
        self.show_s = self._show.lasts_s
        self.slow: list[tuple[float, float]] = []
        self._dials: list[Dial] = []
        for k, name in enumerate(self.bench.names):
            dial = Dial(
                f"dial {name}",
                f"Motor {name.upper()}",
                (),
                machine.design.pulley_teeth.get(name, 20),
                lambda _: None,
                "",
            )
            dial.colour = partial(motor_colour, machine=machine, k=k)
            self._dials.append(dial)
        self.advance(BEGUN_S)

    def _play(self, index: int) -> None:
        self.now = index
        self.bench.play(self.moves[index])

    def advance(self, dt: float) -> bool:
        """Let time pass."""
        self._at_s += dt
        return self._show.advance(dt)

    def told(self) -> Told:
        """What is turned and where that leads; how the motors add up, where they do, else how far that is."""
        move, bench = self.moves[self.now], self.bench
        shares = [f"{axis} is {bench.share_words(k)}" for k, axis in enumerate(bench.axes)]
        mixed = not isinstance(bench, ArmsBench) and any(" of " in bench.share_words(k)[7:] for k in range(2))
        return (f"{_words(move.words)}: {move.outcome}.",), (f"{'; '.join(shares)}." if mixed else bench.sentence(),)

    # ---- drawing

    def draw(self, target: pygame.Surface, time_s: float, speed: float) -> None:
        """The page as it stands."""
        look, theme = self.look, self.look.theme
        body, foot = draw_frame(target, look, self.told(), self.settings)
        gap = look.px(28)
        left = pygame.Rect(body.x, body.y, round(body.w * 0.54), body.h)
        right = pygame.Rect(left.right + gap, body.y, body.right - left.right - gap, body.h)
        low = body.h < look.px(LEAST_BOTH)
        upper = right if low else pygame.Rect(right.x, right.y, right.w, round((right.h - gap) * 0.56))
        rounded(target, left, look.px(12), theme.panel)
        rounded(target, upper, look.px(12), theme.panel)
        box = self.view.fitted(left.inflate(-2 * look.px(20), -2 * look.px(18)))
        self.view.draw(target, box, self.big, self.bench.state(), labels="letters" if low else "full")
        if isinstance(self.bench, ArmsBench) and isinstance(self.view, ArmsView):
            draw_bars(self.bench, target, self.big, self.view.beside(box))
        self._turning(target, upper)
        if not low:
            lower = pygame.Rect(right.x, upper.bottom + gap, right.w, right.bottom - upper.bottom - gap)
            draw_carriage(target, self.big, lower, self.bench)
        draw_rate(target, look, foot, 1.0)
        line = pygame.Rect(foot.x + look.px(190), foot.y + look.px(26), foot.w - look.px(190), look.px(8))
        pitch = line.w / len(self.moves)
        marks = [(line.x + pitch * (k + 0.4), _words(move.words), k == self.now) for k, move in enumerate(self.moves)]
        slow = [
            (line.x + pitch * k, line.x + pitch * (k + MOVE_S / (MOVE_S + PAUSE_S))) for k in range(len(self.moves))
        ]
        draw_line(target, look, line, line.x + line.w * min(1.0, self._at_s / self.show_s), slow, marks)

    def _turning(self, target: pygame.Surface, rect: pygame.Rect) -> None:
        """The motors as dials, side by side."""
        pad = self.look.px(20)
        wide = (rect.w - 2 * pad) // len(self._dials)
        for k, dial in enumerate(self._dials):
            dial.rect = pygame.Rect(rect.x + pad + k * wide, rect.y + pad, wide, rect.h - 2 * pad)
            dial.angle, dial.belt_m = float(self.bench.angle[k]), float(self.bench.belt_m[k])
            dial.draw(target, self.big, focused=False, hovered=False)


def _words(words: tuple[str, str]) -> str:
    """ "A and B the same way", "A up, others half down", "A alone"."""
    who, how = words
    return f"{who} {WAYS[how]}" if how in WAYS else f"{who}, {how}" if how else who

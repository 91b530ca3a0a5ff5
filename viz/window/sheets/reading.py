"""In words: everything a run says, as the command line says it: ringing, its cause, standing and moving, what is judged."""

from __future__ import annotations

import pygame

from ...draw import text
from ...draw.theme import Look
from ..controls.control import Control
from ..jobs import LARGE, Worker
from ..session import words_of
from ..stage import Stage
from .sheet import Sheet


class ReadingSheet(Sheet):
    """Sentences below one another; the judged ringing, which takes thirteen more runs, comes when it is there."""

    title = "What this run says"
    size = (820, 560)

    def __init__(self, stage: Stage) -> None:
        super().__init__(stage)
        self.report = stage.session.shown.result
        self.sentences: tuple[str, ...] = ()
        self.top = 0
        self._more = False
        self.worker: Worker[tuple[str, ...]] = Worker(words_of, LARGE)
        report = self.report
        self.worker.ask(lambda: report.sentences)

    @property
    def lines_known(self) -> list[str]:
        """What can be said by now."""
        report = self.report
        first = self.sentences or tuple(filter(None, [*report.analysis.sentences, report.buzz_words]))
        return [*first, *report.notes]

    @property
    def waiting(self) -> bool:
        """Whether the judged ringing is still being worked out."""
        return self.worker.busy

    def advance(self, dt: float) -> bool:
        for done in self.worker.poll():
            self.sentences = done.result or (done.trouble,)
            return True
        return False

    def close(self) -> None:
        self.worker.close(0.0)

    def controls(self, look: Look) -> list[Control]:
        return []

    def draw_inner(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        y = rect.y + look.px(14)
        for sentence in self.lines_known:
            alarm = sentence.startswith(("The run ended", "Motor ", "Belt "))
            colour = look.theme.alarm if alarm else look.theme.text
            for line in text.wrap(look, ("! " if alarm else "") + sentence, rect.w, 16):
                if y > rect.bottom - look.px(22):
                    return
                text.draw(target, look, line, rect.x, y, 16, colour=colour)
                y += look.px(23)
            y += look.px(9)
        if self.waiting:
            words = "How it rings at speeds around this one is being worked out."
            text.draw(target, look, words, rect.x, rect.bottom - look.px(2), 14, colour=look.theme.dim)

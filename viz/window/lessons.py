"""Lessons: cards of half a minute each, what a beginner sees first. They can be skipped."""

from __future__ import annotations

from collections.abc import Callable

import pygame
from beltspring.sim import Report

from ..draw import text
from ..draw.canvas import framed
from ..draw.theme import Look
from .cards import CARDS, FOOT, Card
from .controls.buttons import Button
from .controls.control import Control
from .jobs import Worker
from .keys import LESSONS, Key
from .screens.screen import Screen
from .session import words_of
from .stage import Stage

STIFFER, LIGHTER = 1.5, 1 / 1.5
WIDEST = 760  # px of a card's lines


class Lessons:
    """The cards and which one is shown; None: none. screens: of the window, by name."""

    def __init__(self, stage: Stage, screens: Callable[[str], Screen]) -> None:
        self.stage, self.screen = stage, screens
        self.number: int | None = None
        self.guess: int | None = None
        self.answered = False
        self._worker: Worker[tuple[Report, Report]] = Worker(words_of)
        self._two: tuple[Report, Report] | None = None
        self.trouble = ""
        self.next = Button("lesson next", "Next", self.forward, "The next card (Enter).", filled=True)
        self.skip = Button("lesson skip", "Skip lessons", self.end, "No more cards (Esc).")
        self._options: list[Button] = []
        self.rect = pygame.Rect(0, 0, 0, 0)

    @property
    def card(self) -> Card | None:
        """The one shown."""
        return CARDS[self.number] if self.number is not None else None

    @property
    def report(self) -> Report:
        """The run that is told of."""
        return self.stage.session.shown.result

    def begin(self) -> None:
        """The first card."""
        self._go(0)

    def end(self) -> None:
        """No card."""
        self.number = None
        self.stage.repeat("")

    def forward(self) -> None:
        """Answer what is asked, else go to the next card; after the last there is none."""
        card = self.card
        if card is None or self.number is None:
            return
        if not self.answered:
            self.answer(None)
        elif self.number + 1 < len(CARDS):
            self._go(self.number + 1)
        else:
            self.end()

    def _go(self, number: int) -> None:
        self.number, self.guess, self.answered, self.trouble = number, None, False, ""
        card = CARDS[number]
        self.stage.show(card.screen)
        self._options = [
            Button(f"lesson answer {k + 1}", words, self._answers(k), f"Your guess (key {k + 1}).")
            for k, words in enumerate(card.options)
        ]
        if not card.options:
            self.answer(None)

    def _answers(self, k: int) -> Callable[[], None]:
        return lambda: self.answer(k)

    def answer(self, guess: int | None) -> None:
        """Take a guess, and show what happens."""
        card = self.card
        if card is not None and not self.answered:
            self.guess, self.answered = guess, True
            card.shows(self)

    def two_runs(self) -> None:
        """Run the machine with stiffer belts and with a lighter carriage."""
        session, runner = self.stage.session, self.stage.runner
        ea, mass = float(session.value("belts.ea_n") or 0.0), float(session.value("carriage.mass_g") or 0.0)
        scenario, kept = session.scenario, dict(session.changes)
        if not ea or not mass:
            self.trouble = "This machine's belts or carriage cannot be changed here."
            return
        self._two = None
        self._worker.ask(
            lambda: (
                runner(scenario, {**kept, "belts.ea_n": ea * STIFFER}),
                runner(scenario, {**kept, "carriage.mass_g": mass * LIGHTER}),
            )
        )

    def advance(self) -> bool:
        """Take what has been run; True if it changes what is told."""
        if self.number is None:
            return False
        for done in self._worker.poll():
            self._two, self.trouble = done.result, done.trouble
            return True
        return False

    def key(self, key: Key) -> bool:
        """A key while a card is shown; True if it meant something to it."""
        what, _, which = LESSONS.command(key).partition(" ")
        if self.card is None or what not in ("lesson", "answer"):
            return False
        if what == "lesson":
            self.forward()
        elif self.answered or int(which) > len(self._options):
            return False
        else:
            self.answer(int(which) - 1)
        return True

    def close(self) -> None:
        """Stop what runs."""
        self._worker.close(0.0)

    def better(self) -> int:
        """Which of the two brought the tool nearer to the line; -1 until they have run."""
        if self._two is None:
            return -1
        first, second = (report.analysis.path.across_max_m for report in self._two)
        return int(second < first)

    def two_words(self) -> str:
        """What stiffer and lighter came to."""
        if self.trouble:
            return self.trouble
        if self._two is None:
            return "Both are being run …"
        before = self.report.analysis.path.across_max_m
        said = []
        for name, report in zip(
            (f"belts {STIFFER:g} times as stiff", "a carriage a third lighter"), self._two, strict=True
        ):
            said.append(f"{name}: {text.micrometres(report.analysis.path.across_max_m)} µm")
        return f"Most off the line, of {text.micrometres(before)} µm now: {'; '.join(said)}."

    # ---- what it looks like

    def words(self) -> list[tuple[str, bool]]:
        """(line, whether bold) of the card as it stands."""
        card = self.card
        if card is None:
            return []
        if not self.answered:
            return [(card.asks, False)]
        told = []
        if card.options:
            right = card.right(self)
            if 0 <= right < len(card.options):
                verdict = "Right. " if self.guess == right else "" if self.guess is None else "Not quite. "
                told.append((f"{verdict}{card.options[right][0].upper()}{card.options[right][1:]}.", True))
        return [*told, (card.tells(self), False)]

    def foot(self, area: pygame.Rect, look: Look) -> int:
        """How high a card wants the foot of the content to be, px: so that it lies on no more than that; 0: it does not."""
        card = self.card
        return self._height(area.w, look) if card is not None and card.over == FOOT else 0

    def _place(self, area: pygame.Rect, look: Look) -> pygame.Rect:
        """What the card covers: whole panels it does not speak of, or a strip of them; else the foot of the content."""
        card = self.card
        assert card is not None
        panels, place = self.screen(card.screen).panels(), None
        for names in card.over:
            found = [panels[name] for name in names if name in panels]
            if found and (card.top or len(found) == len(names)):
                place = found[0].unionall(found[1:]).clip(area)
                if place.h >= self._height(place.w, look):
                    break
        if place is None:
            place = area.inflate(-look.px(40), 0)
        high = self._height(place.w, look)
        if panels and place.h >= high and not card.top:
            return place
        return pygame.Rect(place.x, place.y if card.top else max(area.y, place.bottom - high), place.w, high)

    def _height(self, wide: int, look: Look) -> int:
        """How high the card is at a width, px."""
        rows, lines = self._rows(wide, look)[1], self._lines(wide, look)
        return look.px(58) + look.px(23) * max(1, len(lines)) + look.px(42) * rows + look.px(50)

    def _lines(self, wide: int, look: Look) -> list[tuple[str, bool]]:
        room = min(wide - 2 * look.px(20), look.px(WIDEST))
        return [(line, bold) for words, bold in self.words() for line in text.wrap(look, words, room, 16, bold)]

    def _rows(self, wide: int, look: Look) -> tuple[list[tuple[Button, int, int, int]], int]:
        """(button, left, row, width) of every answer, and the row that Next and Skip stand in."""
        pad, x, row = look.px(20), look.px(20), 0
        spots: list[tuple[Button, int, int, int]] = []
        for button in self._options if not self.answered else []:
            w = button.natural_width(look)
            if x > pad and x + w > wide - pad:
                row, x = row + 1, pad
            spots.append((button, x, row, w))
            x += w + look.px(8)
        ends = sum(b.natural_width(look) + look.px(8) for b in (self.next, self.skip))
        return spots, row + 1 if spots and x > wide - pad - ends else row

    def _name_next(self) -> None:
        last = self.number is not None and self.number + 1 == len(CARDS) and self.answered
        self.next.label = "Done" if last else "Next" if self.answered else "Show me"

    def layout(self, area: pygame.Rect, look: Look) -> list[Control]:
        """Place the card; returns its controls."""
        if self.card is None:
            return []
        self._name_next()
        self.rect, pad, pitch = self._place(area, look), look.px(20), look.px(42)
        spots, row = self._rows(self.rect.w, look)
        y = self.rect.y + look.px(62) + look.px(23) * max(1, len(self._lines(self.rect.w, look)))
        for button, at, k, wide in spots:
            button.rect = pygame.Rect(self.rect.x + at, y + pitch * k, wide, look.px(34))
        right = self.rect.right - pad
        for button in (self.next, self.skip):
            wide = button.natural_width(look)
            button.rect = pygame.Rect(right - wide, y + pitch * row, wide, look.px(34))
            right -= wide + look.px(8)
        return [*(self._options if not self.answered else []), self.skip, self.next]

    def draw(self, target: pygame.Surface, look: Look) -> None:
        """The card, above the screen."""
        card = self.card
        if card is None or self.number is None:
            return
        framed(target, self.rect, look.px(10), look.theme.raised, look.theme.control, look.px(2))
        x, y = self.rect.x + look.px(20), self.rect.y + look.px(32)
        text.draw(target, look, card.title, x, y, 18, bold=True)
        count = f"card {self.number + 1} of {len(CARDS)}"
        text.draw(target, look, count, self.rect.right - look.px(20), y, 14, colour=look.theme.dim, align="right")
        for line, bold in self._lines(self.rect.w, look):
            y += look.px(23)
            text.draw(target, look, line, x, y, 16, bold=bold)
        options = self._options if not self.answered else []
        self.stage.draw_controls(target, look, [*options, self.skip, self.next])

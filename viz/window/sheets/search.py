"""A search from the window: many designs judged beside it, the best so far growing, and one of them taken over."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass

import pygame
from beltspring.sim import (
    Searched,
    SearchedDesign,
    SearchSofar,
    catalogue,
    search,
    search_sentences,
    search_wanted,
    with_changes,
)

from ...charts.front import Front, caption, draw_front
from ...draw import text
from ...draw.theme import Look
from ..controls.buttons import Button
from ..controls.control import Control
from ..differences import PARTS
from ..jobs import Worker
from ..session import Session, words_of
from ..stage import Stage
from .sheet import Sheet

MOST_SHOWN = 6
#: What is traded where the file does not say and no prices are known: ringing against the time that the move takes.
LEAST = ("judged_um", "job_s")
HASTE, SHARES = "motion.acceleration_mm_s2", (0.5, 0.75, 1.0, 1.5, 2.0)
LIST, ROW = 330, 74


def vary_of(session: Session) -> list[str]:
    """What a search varies where the file does not say: the parts that Compare begins with, those there now, the haste."""
    out = []
    for _, key, kind, start in PARTS:
        now, known = session.value(key), catalogue().names(kind)
        if now is not None:
            levels = dict.fromkeys(part for part in (*start, now) if part in known)
            out.append(f"{key}={','.join(levels)}")
    haste = session.value(HASTE)
    if isinstance(haste, int | float):
        out.append(f"{HASTE}={','.join(f'{share * haste:g}' for share in SHARES)}")
    return out


@dataclass
class Sofar:
    """What the search has told, handed from its thread to the window's. stop: asks it to end."""

    stop: threading.Event
    last: SearchSofar | None = None

    def take(self, sofar: SearchSofar) -> None:
        """Called by the search; ends it where that was asked."""
        self.last = sofar
        if self.stop.is_set():
            raise KeyboardInterrupt


class SearchSheet(Sheet):
    """Chart to the left, the best to the right; a press on one makes it what the window works on."""

    title = "Search"
    size = (1120, 680)

    def __init__(self, stage: Stage) -> None:
        super().__init__(stage)
        self.session = stage.session
        self.made_for = key_of(self.session)
        self.sofar = Sofar(threading.Event())
        self.found: Searched | None = None
        self.trouble = ""
        self._seen: dict[object, SearchedDesign] = {}
        self._drawn: SearchSofar | None = None
        self.buttons: list[Button] = []
        self.stopper = Button("stop search", "Stop", self.sofar.stop.set, "End it with what is judged so far.")
        self.worker: Worker[Searched] = Worker(words_of)
        scenario, changes, sofar = self.session.scenario, dict(self.session.changes), self.sofar
        table, vary, prices = dict(scenario.file.search), vary_of(self.session), stage.prices
        least = () if "least" in table or prices is not None else LEAST

        def job() -> Searched:
            start = with_changes(scenario, changes, "a setting") if changes else scenario
            wanted = search_wanted(start, () if "vary" in table else vary, least, (), prices is not None)
            self.goals, self.space = wanted.goals, wanted.space
            return search(start, wanted.space, wanted.goals, prices, wanted.tries, wanted.seed, told=sofar.take)

        self.worker.ask(job)

    @property
    def running(self) -> bool:
        """Whether it still judges."""
        return self.found is None and not self.trouble

    def advance(self, dt: float) -> bool:
        for done in self.worker.poll():
            self.found, self.trouble = done.result, done.trouble
            self._make_buttons()
            return True
        last = self.sofar.last
        if last is self._drawn or last is None:
            return False
        self._drawn = last
        self._seen.update({one.genes: one for one in last.front})
        return True

    def close(self) -> None:
        self.sofar.stop.set()
        self.worker.close(0.0)

    def front(self) -> Front | Searched | None:
        """What is drawn: the search's answer, or those that none other beat so far and those that once were such."""
        if self.found is not None:
            return self.found
        if self._drawn is None or not self._drawn.front:
            return None
        return Front(self.goals, self.stage.prices, tuple(self._seen.values()), self._drawn.front)

    def shown(self) -> tuple[SearchedDesign, ...]:
        """The best of the first goal, as many as there is room for."""
        front = self.front()
        return front.front[:MOST_SHOWN] if front is not None else ()

    def _make_buttons(self) -> None:
        self.buttons = [
            Button(
                f"winner {k + 1}",
                f"Work on {k + 1}",
                self._opener(one),
                "Take this design's values over (Ctrl+Z undoes).",
            )
            for k, one in enumerate(self.shown())
        ]

    def _opener(self, one: SearchedDesign) -> Callable[[], None]:
        def act() -> None:
            self.session.change(dict(one.settings), True)
            self.stage.close_sheet()
            self.stage.say(f"Now: {self.label(one)}. Ctrl+Z undoes, Save keeps it as a file")

        return act

    def label(self, one: SearchedDesign) -> str:
        """A design's values."""
        return self.space.label(one.genes)

    def said(self) -> str:
        """How far it is."""
        last = self._drawn
        if self.trouble:
            return self.trouble
        if self.found is not None:
            ended = "" if self.found.complete else ", stopped before its end"
            return f"{len(self.found.judged)} of {self.found.possible} designs judged{ended}"
        if last is None:
            return "The first designs are being judged."
        if last.what != "designs":
            return f"{last.judged} designs judged; now {last.what}"
        return f"{last.judged} of {last.of} designs judged"

    # ---- what it looks like

    def controls(self, look: Look) -> list[Control]:
        inner = self.inner(look)
        side = inner.right - look.px(LIST)
        for k, button in enumerate(self.buttons):
            wide = button.natural_width(look)
            button.rect = pygame.Rect(inner.right - wide, inner.y + look.px(ROW * k), wide, look.px(30))
        if not self.running:
            return list(self.buttons)
        wide = self.stopper.natural_width(look)
        self.stopper.rect = pygame.Rect(side, inner.bottom - look.px(34), wide, look.px(32))
        return [self.stopper]

    def draw_inner(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        colour = look.theme.alarm if self.trouble else look.theme.dim
        left = rect.x + text.width(look, self.title, 18, True) + look.px(16)
        said = f"! {self.said()}" if self.trouble else self.said()
        y = self.rect.y + look.px(38)
        if self.trouble:
            for k, line in enumerate(text.wrap(look, said, rect.w, 16)[:6]):
                text.draw(target, look, line, rect.x, rect.y + look.px(20 + 23 * k), 16, colour=colour)
            return
        text.draw(
            target, look, text.fit(look, said, self.closer.rect.x - left - look.px(16), 16), left, y, 16, colour=colour
        )
        lines: list[str] = []
        if self.found is not None:
            lines = [w for s in search_sentences(self.found) for w in text.wrap(look, s, rect.w, 14)][:5]
        foot = look.px(20) * len(lines) + look.px(8)
        front = self.front()
        box = pygame.Rect(rect.x, rect.y, rect.w - look.px(LIST + 24), rect.h - foot)
        if front is not None:
            head = "Each dot is a design; the line joins those that none other beats."
            text.draw(
                target, look, text.fit(look, head, box.w, 14), box.x, box.y + look.px(12), 14, colour=look.theme.dim
            )
            draw_front(
                target, look, pygame.Rect(box.x, box.y + look.px(24), box.w, box.h - look.px(24)), front, self.shown()
            )
            self._list(target, look, pygame.Rect(rect.right - look.px(LIST), rect.y, look.px(LIST), rect.h - foot))
        for k, line in enumerate(lines):
            text.draw(target, look, line, rect.x, rect.bottom - look.px(4 + 20 * (len(lines) - 1 - k)), 14)

    def _list(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        front = self.front()
        assert front is not None
        for k, one in enumerate(self.shown()):
            y = rect.y + look.px(ROW * k)
            if y + look.px(ROW) > rect.bottom - (look.px(40) if self.running else 0):
                return
            text.draw(target, look, str(k + 1), rect.x, y + look.px(20), 16, bold=True)
            room = (self.buttons[k].rect.x if self.buttons else rect.right) - rect.x - look.px(30)
            words = text.fit(look, caption(front, one), room, 16)
            text.draw(target, look, words, rect.x + look.px(22), y + look.px(20), 16, bold=True)
            for j, line in enumerate(text.wrap(look, self.label(one), rect.w - look.px(22), 14)[:2]):
                text.draw(target, look, line, rect.x + look.px(22), y + look.px(42 + 17 * j), 14, colour=look.theme.dim)


def key_of(session: Session) -> tuple[object, ...]:
    """What a search was made for: it is shown again as long as that is the same."""
    return session.base.serial, tuple(sorted((k, str(v)) for k, v in session.changes.items()))

"""Check: what of the present settings will not work, marked on the machine, with the list and what to change beside it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pygame
from beltspring.sim import Finding, Findings, Place

from ...charts.shown import Shown
from ...draw import text
from ...draw.canvas import disc, ring, rounded
from ...draw.room import Room, Spot
from ...draw.state import MachineState
from ...draw.theme import Colour, Look
from ..controls.control import Control, Key, Pointer
from ..jobs import Worker
from ..session import words_of
from ..stage import Stage
from .sheet import Sheet

SIGNS = {"stop": "!!", "warn": "!", "note": "i"}
WORDS = {"stop": "stop", "warn": "warning", "note": "note"}
ROW = 26


def severity_colour(look: Look, finding: Finding) -> Colour:
    """Alarms in the alarm colour, notes dim; the sign says the same without colour."""
    return look.theme.dim if finding.severity == "note" else look.theme.alarm


class FindingList(Control):
    """The findings as rows, one chosen; it scrolls so that the chosen one is in view."""

    def __init__(self) -> None:
        super().__init__("findings", "Up and Down choose a finding; its place is marked on the machine.")
        self.findings: tuple[Finding, ...] = ()
        self.chosen = 0
        self.top = 0
        self._row = ROW

    @property
    def finding(self) -> Finding | None:
        """The chosen one."""
        return self.findings[self.chosen] if self.findings else None

    def show(self, findings: tuple[Finding, ...]) -> None:
        """Other findings, notes of one rule in one row; the first is chosen."""
        findings = grouped(findings)
        self.findings, self.chosen, self.top = findings, 0, 0

    def _rows(self) -> int:
        return max(1, self.rect.h // self._row)

    def _choose(self, index: int) -> None:
        self.chosen = max(0, min(index, len(self.findings) - 1))
        self.top = max(0, min(max(self.top, self.chosen - self._rows() + 1), self.chosen))

    def press(self, pointer: Pointer) -> None:
        index = self.top + (pointer.pos[1] - self.rect.y) // self._row
        if index < len(self.findings):
            self._choose(index)

    def wheel(self, steps: int, pointer: Pointer) -> bool:
        self.top = max(0, min(self.top - steps, len(self.findings) - self._rows()))
        return True

    def key(self, key: Key) -> bool:
        moves = {
            pygame.K_UP: self.chosen - 1,
            pygame.K_DOWN: self.chosen + 1,
            pygame.K_PAGEUP: self.chosen - self._rows(),
            pygame.K_PAGEDOWN: self.chosen + self._rows(),
            pygame.K_HOME: 0,
            pygame.K_END: len(self.findings) - 1,
        }
        if key.key not in moves or not self.findings:
            return False
        self._choose(moves[key.key])
        return True

    def draw(self, target: pygame.Surface, look: Look, *, focused: bool, hovered: bool) -> None:
        self._row = look.px(ROW)
        before = target.get_clip()
        target.set_clip(self.rect.clip(before))
        shown = self.findings[self.top : self.top + self._rows()]
        for k, finding in enumerate(shown):
            row = pygame.Rect(self.rect.x, self.rect.y + k * self._row, self.rect.w, self._row)
            if self.top + k == self.chosen:
                rounded(target, row, look.px(6), look.theme.raised)
            baseline = row.y + look.px(18)
            colour = severity_colour(look, finding)
            number = str(self.top + k + 1)
            text.draw(target, look, number, row.x + look.px(26), baseline, 14, colour=look.theme.dim, align="right")
            text.draw(
                target, look, SIGNS[finding.severity], row.x + look.px(36), baseline, 16, bold=True, colour=colour
            )
            used = text.draw(target, look, finding.rule, row.x + look.px(56), baseline, 16, bold=True)
            room = row.right - used.right - look.px(20)
            where = text.fit(look, finding.where, room, 14)
            text.draw(target, look, where, used.right + look.px(12), baseline, 14, colour=look.theme.dim)
        hidden = len(self.findings) - len(shown)
        if hidden > 0:
            bar = self.rect.h / len(self.findings)
            thumb = pygame.Rect(self.rect.right - look.px(4), round(self.rect.y + self.top * bar), look.px(4),
                                max(look.px(12), round(len(shown) * bar)))  # fmt: skip
            rounded(target, thumb, look.px(2), look.theme.track)
        target.set_clip(before)


def grouped(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """The same with several notes of one rule as one, a line each: twelve spans of belt are twelve numbers, no twelve rows."""
    out: list[Finding] = []
    for finding in findings:
        same = next((k for k, f in enumerate(out) if f.rule == finding.rule and f.severity == "note"), None)
        if finding.severity != "note" or same is None:
            out.append(finding)
            continue
        first = out[same]
        lines = [*first.words.split("\n"), finding.words]
        change = first.change if first.change == finding.change else "each as its line says"
        places = first.places + finding.places
        out[same] = replace(first, where=f"{len(lines)} places", words="\n".join(lines), change=change, places=places)
    return tuple(out)


class CheckSheet(Sheet):
    """The rules asked of the session's newest result, off the drawing thread."""

    title = "Check"
    size = (1200, 660)

    def __init__(self, stage: Stage, shown: Shown | None = None) -> None:
        """shown: the run to check, None for the session's newest."""
        super().__init__(stage)
        self.list = FindingList()
        self.worker: Worker[Findings] = Worker(words_of)
        self.report: Findings | None = None
        self.trouble = ""
        self.shown = shown if shown is not None else stage.session.shown
        report = self.shown.result
        self.worker.ask(lambda: report.findings)

    def advance(self, dt: float) -> bool:
        for done in self.worker.poll():
            self.report, self.trouble = done.result, done.trouble
            if done.result is not None:
                self.list.show(done.result.findings)
            return True
        return self.worker.busy

    def close(self) -> None:
        self.worker.close(0.0)

    def key(self, key: Key) -> None:
        self.list.key(key)

    def _boxes(self, look: Look) -> tuple[pygame.Rect, pygame.Rect, pygame.Rect]:
        """(machine, list, words)."""
        inner = self.inner(look)
        gap = look.px(24)
        left = pygame.Rect(inner.x, inner.y, round((inner.w - gap) * 0.42), inner.h)
        right = pygame.Rect(left.right + gap, inner.y, inner.right - left.right - gap, inner.h)
        head = look.px(28)
        rows = pygame.Rect(right.x, right.y + head, right.w, round((right.h - head) * 0.46))
        rows.h -= rows.h % look.px(ROW)
        words = pygame.Rect(right.x, rows.bottom + look.px(16), right.w, right.bottom - rows.bottom - look.px(16))
        return left, rows, words

    def controls(self, look: Look) -> list[Control]:
        self.list.rect = self._boxes(look)[1]
        return [self.list]

    def draw_inner(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        machine, rows, words = self._boxes(look)
        head = rows.y - look.px(12)
        text.draw(target, look, text.fit(look, self._headline(), rows.w, 16), rows.x, head, 16, colour=look.theme.dim)
        self._draw_machine(target, look, machine)
        finding = self.list.finding
        if finding is not None:
            _draw_words(target, look, words, finding)

    def _headline(self) -> str:
        if self.trouble:
            return f"! {self.trouble}"
        if self.report is None:
            return "asking every rule …"
        counts = {s: sum(f.severity == s for f in self.report.findings) for s in SIGNS}
        told = [f"{n} {WORDS[s]}{'' if n == 1 else 's'}" for s, n in counts.items() if n]
        return f"{len(self.report.asked)} rules asked: {', '.join(told) or 'nothing to tell'}"

    def _draw_machine(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        finding = self.list.finding
        places = finding.places if finding is not None else ()
        tool = np.array(places[0].tool) if places else self.shown.view.machine.middle
        view = self.shown.view
        place_in = pygame.Rect(rect.x, rect.y, rect.w, rect.h - look.px(24))
        room = Room(look, place_in)
        box = view.draw(target, place_in, look, MachineState(tool=tool), labels="letters", room=room)
        at = view.place(box.size)

        def spot(place: Place) -> tuple[float, float]:
            x, y = at.at(view.spot(np.array(place.point)))
            return box.x + float(x), box.y + float(y)

        for k, other in enumerate(self.list.findings):
            if other.severity != "note" and other is not finding:
                for place in other.places:
                    if np.allclose(place.tool, tool):
                        _mark(target, look, room, spot(place), str(k + 1), other, False)
        for place in places:
            _mark(target, look, room, spot(place), str(self.list.chosen + 1), finding, True)
        x, y, z = (f"{1e3 * v:.0f}" for v in tool)
        words = f"tool at X {x}, Y {y}, Z {z} mm" + ("" if places or finding is None else "; no single place to mark")
        line = text.fit(look, words, rect.w, 14)
        text.draw(target, look, line, rect.centerx, rect.bottom - look.px(4), 14, colour=look.theme.dim, align="center")


def _mark(
    target: pygame.Surface,
    look: Look,
    room: Room,
    at: tuple[float, float],
    number: str,
    finding: Finding | None,
    chosen: bool,
) -> None:
    """A numbered mark: a ring round the place and its number beside it, where no letter of the machine stands."""
    if finding is None:
        return
    colour = severity_colour(look, finding)
    radius = look.px(15 if chosen else 9)
    ring(target, at, radius + look.px(2), look.theme.panel, look.px(2))
    ring(target, at, radius, colour, look.px(3 if chosen else 2))
    if chosen:
        disc(target, at, look.px(3), colour)
    away, level = radius + look.px(6), at[1] + look.px(5)
    spots = [Spot(at[0] + away, level), Spot(at[0] - away, level, "right"), Spot(at[0], at[1] - away, "center"),
             Spot(at[0], at[1] + away + look.px(10), "center")]  # fmt: skip
    size = 16 if chosen else 14
    room.write(target, number, spots, size, bold=True, colour=look.theme.text, must=True, back=look.theme.panel)


def _draw_words(target: pygame.Surface, look: Look, rect: pygame.Rect, finding: Finding) -> None:
    """The chosen finding in words: what is wrong, what to change, where the limit comes from, the caution."""
    target.fill(look.theme.line, (rect.x, rect.y, rect.w, look.px(1)))
    several = "\n" in finding.words
    blocks = [(finding.words[:1].upper() + finding.words[1:] + ".", 14 if several else 16, look.theme.text)]
    if finding.change and finding.change != "nothing to change":
        blocks.append((f"Change: {finding.change}.", 16, look.theme.text))
    blocks.append((f"Limit from {finding.basis}.", 14, look.theme.dim))
    if finding.caution:
        blocks.append((f"! {finding.caution}", 14, look.theme.alarm))
    y = rect.y + look.px(24)
    for words, size, colour in blocks:
        step = look.px(22 if size == 16 else 19)
        for line in text.wrap(look, words, rect.w, size):
            if y > rect.bottom - look.px(4):
                return
            text.draw(target, look, text.fit(look, line, rect.w, size), rect.x, y, size, colour=colour)
            y += step
        y += look.px(6)

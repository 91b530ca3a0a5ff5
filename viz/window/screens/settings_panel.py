"""The settings that re-run the simulation, the result beside the default's, undo and defaults."""

from __future__ import annotations

from typing import Any

import pygame
from beltspring.sim import troubles_of

from ...charts.panels import moving_rows, panel, result_rows
from ...draw import text
from ...draw.theme import Look
from ..controls.buttons import Button
from ..controls.control import Control
from ..controls.dropdown import DropDown
from ..controls.slider import Slider
from ..session import Session
from ..settings import PATHS, SETTINGS, PathChoice, Setting
from ..sheets.reading import ReadingSheet
from ..stage import Stage
from .screen import inside

ROW, MOST_TROUBLES = 24, 2  # px of a row of the result


class SettingsPanel:
    """Sliders for one session's settings. Built from the scenario as opened; synced from the session before drawing."""

    def __init__(self, stage: Stage, session: Session) -> None:
        self.stage = stage
        self.session = session
        self.sliders: list[tuple[Setting, Slider]] = []
        for setting in SETTINGS:
            default = setting.shown(session.default(setting.key))
            if default is None:
                continue
            slider = Slider(
                setting.key, setting.label, setting.range, default, default, self._changer(setting), setting.tip
            )
            self.sliders.append((setting, slider))
        self.paths = self._paths()
        self.path = DropDown(
            "move", "Path", [p.label for p in self.paths], 0, self._pick_path, "What the tool is asked to follow.",
            other="drawn by hand",
        )  # fmt: skip
        self.undo = Button(
            "undo", "Undo", session.undo, "Take back the last change (Ctrl+Z); Ctrl+Shift+Z brings it back."
        )
        self.defaults = Button("defaults", "Defaults", session.defaults, "Every setting as in the scenario.")
        self.words = Button(
            "in words", "In words", lambda: stage.open_sheet(ReadingSheet(stage)),
            "Everything this run says, in sentences: what rings and why, standing and moving, and how it is judged.",
        )  # fmt: skip
        self.rect = pygame.Rect(0, 0, 0, 0)
        self._groups: list[tuple[str, int]] = []
        self._rows_at = 0
        self._line = 0

    def _changer(self, setting: Setting) -> Any:
        def change(value: float, done: bool) -> None:
            self.session.change({setting.key: setting.file_value(value)}, done, setting.key)

        return change

    def _paths(self) -> list[PathChoice]:
        move = self.session.base.result.plan.description.split(" at ")[0]
        first = PathChoice(move[:1].upper() + move[1:], {})
        pattern = self.session.default("move.pattern")
        if not pattern:
            return [first]  # a program: its path stays
        axis = self.session.default("move.axis")
        same = {"move.pattern": pattern, **({"move.axis": axis} if pattern == "step" else {})}
        return [first, *(p for p in PATHS if p.keys != same)]

    def _pick_path(self, index: int) -> None:
        keys: dict[str, Any] = {}
        for choice in self.paths:
            for key in choice.keys:
                keys[key] = self.session.default(key)
        if self.session.changes.get("move.gcode"):  # a path drawn by hand goes, with the rounding it came with
            keys.update({key: self.session.default(key) for key in ("move.gcode", "motion.corner_tolerance_mm")})
        keys.update(self.paths[index].keys)
        self.session.change(keys, True, "move")

    def sync(self) -> None:
        """Show what the session holds (after undo, defaults, another screen's change)."""
        for setting, slider in self.sliders:
            value = setting.shown(self.session.value(setting.key))
            if value is not None and not slider._dragging:
                slider.value = value
        chosen = {k: v for k, v in self.session.changes.items() if k.startswith("move.")}
        mine = next((k for k, p in enumerate(self.paths) if p.keys and p.keys.items() <= chosen.items()), 0)
        self.path.value = -1 if chosen.get("move.gcode") else mine
        self.undo.enabled = self.session.can_undo
        self.defaults.enabled = bool(self.session.changes)

    def layout(self, rect: pygame.Rect, look: Look) -> list[Control]:
        """Place the controls; rows move closer together where there is less room."""
        self.sync()
        self.rect = rect
        pad = look.px(20)
        inner = rect.inflate(-2 * pad, -2 * pad)
        top = inner.y + look.px(30)
        bottom = inner.bottom
        button = look.px(38)
        groups = list(dict.fromkeys(s.group for s, _ in self.sliders))
        # Below the sliders: path, rule, results, buttons.
        room = bottom - top - look.px(6 + 34 + 14 + 34 + ROW * len(self._rows()) + 16) - button
        count = max(1, len(self.sliders))
        head = look.px(24)
        heads = room >= count * look.px(43) + len(groups) * head
        pitch = max(look.px(36), min(look.px(50), (room - heads * len(groups) * head) // count))
        spare = (
            min(look.px(12), max(0, room - count * pitch - len(groups) * head) // max(1, len(groups))) if heads else 0
        )
        y = top
        self._groups = []
        last = ""
        out: list[Control] = []
        for setting, slider in self.sliders:
            if heads and setting.group != last:
                y += spare if last else 0
                self._groups.append((setting.group, y + look.px(14)))
                y += head
                last = setting.group
            slider.rect = pygame.Rect(inner.x, y, inner.w, min(pitch, look.px(44)))
            y += pitch
            out.append(slider)
        y += look.px(6)
        self.path.rect = pygame.Rect(inner.x, y, inner.w, look.px(34))
        out.append(self.path)
        self._rows_at = y + look.px(34) + look.px(14)
        self._line = self._rows_at
        gap = look.px(8)
        third = (inner.w - 2 * gap) // 3
        for k, one in enumerate((self.words, self.undo, self.defaults)):
            one.rect = pygame.Rect(inner.x + k * (third + gap), bottom - button, third, button)
        return [*out, self.words, self.undo, self.defaults]

    def draw(self, target: pygame.Surface, look: Look) -> None:
        session = self.session
        if session.running:
            remark, colour = "running", look.theme.text
        elif session.failed:
            remark, colour = "! not run", look.theme.alarm
        elif session.took_s:
            remark, colour = f"re-run took {text.number(session.took_s * 1e3)} ms", look.theme.dim
        else:
            every = session.shown.result.design.detail == "full"
            remark, colour = "every part gives" if every else "parts do not turn", look.theme.dim
        with inside(target, self.rect):
            inner = panel(target, look, self.rect, "Settings", "", remark, colour)
            for words, baseline in self._groups:
                text.draw(target, look, words, inner.x, baseline, 14, colour=look.theme.dim)
            self._result(target, look, inner)
        controls: list[Control] = [*(s for _, s in self.sliders), self.path, self.words, self.undo, self.defaults]
        self.stage.draw_controls(target, look, controls)

    def _rows(self) -> list[tuple[str, str, str, str]]:
        """(what, value, unit, default's value); what went wrong has words alone, with a sign."""
        shown, base = self.session.told, self.session.base
        axis = shown.result.analysis.ringing_axis
        troubles = [(f"! {words}", "", "", "") for words in troubles_of(shown.trace)[:MOST_TROUBLES]]
        before = {what: value for what, value, _ in [*result_rows(base, axis), *moving_rows(base)]}
        now = [*result_rows(shown), *moving_rows(shown)]
        return [*troubles, *((what, value, unit, before.get(what, "–")) for what, value, unit in now)]

    def _result(self, target: pygame.Surface, look: Look, inner: pygame.Rect) -> None:
        theme = look.theme
        target.fill(theme.line, (inner.x, self._line, inner.w, look.px(1)))
        y = self._line + look.px(24)
        stale = bool(self.session.failed)
        text.draw(target, look, "Last good result" if stale else "Result", inner.x, y, 18, bold=True)
        text.draw(target, look, "default", inner.right, y, 14, colour=theme.dim, align="right")
        column = inner.right - look.px(46)
        strong = theme.faded(theme.text) if stale else theme.text
        for what, value, unit, default in self._rows():
            y += look.px(ROW)
            if not unit:
                alarm = text.fit(look, what, inner.w, 16)
                text.draw(target, look, alarm, inner.x, y, 16, bold=True, colour=theme.alarm)
                continue
            used = text.draw(target, look, unit, column, y, 14, colour=theme.dim, align="right")
            right = min(used.x, column - look.px(22)) - look.px(6)
            number = text.draw(target, look, value, right, y, 16, bold=True, colour=strong, align="right")
            room = number.x - inner.x - look.px(4)
            text.draw(target, look, text.fit(look, what, room, 16), inner.x, y, 16, colour=theme.dim)
            text.draw(target, look, default, inner.right, y, 16, colour=theme.dim, align="right")
        self._why(target, look, pygame.Rect(inner.x, y, inner.w, self.words.rect.y - y))

    def _why(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        """What gives way, below the numbers, where there is room for all of it."""
        analysis = self.session.told.result.analysis
        gives = analysis.gives_way(analysis.ringing_axis) if analysis.ringing_axis else ""
        lines = text.wrap(look, f"What gives way: {gives}.", rect.w, 14) if gives else []
        pitch = look.px(17)
        if not lines or look.px(18) + pitch * (len(lines) - 1) + look.px(6) > rect.h:
            return
        for k, line in enumerate(lines):
            text.draw(target, look, line, rect.x, rect.y + look.px(18) + k * pitch, 14)

"""The ringing test: machine, deviations, spectrum, printed line, and the settings that change them."""

from __future__ import annotations

import pygame

from ...charts.deviation import DeviationPlot
from ...charts.panels import machine_with_tensions, panel, print_key, wording
from ...charts.printed import PrintCanvas, best_magnification, fit_path
from ...charts.shown import Shown
from ...charts.spectrum import SpectrumPlot, title_of
from ...draw import text
from ...draw.theme import Look
from ...pages.settings_line import detail_words
from ..controls.buttons import Choice
from ..controls.control import Control
from ..stage import Stage
from .screen import PlotArea, Screen, inside, veil
from .settings_panel import SettingsPanel


class RingingScreen(Screen):
    """Three columns 31 / 45 / 18; narrow windows fold the settings into a drawer, low ones share a panel."""

    name = "ringing"
    title = "Ringing test"

    def __init__(self, stage: Stage) -> None:
        super().__init__(stage)
        self.deviation = DeviationPlot()
        self.spectrum = SpectrumPlot()
        self.paper = PrintCanvas()
        self.settings = SettingsPanel(stage, stage.session)
        self.plot = PlotArea("deviation", self.deviation, stage.clock.go, self._tip)
        self.plot.focusable = False
        self.half = Choice(
            "lower panel", ["Spectrum", "Printed line"], 0, lambda _: None, "Which of the two the lower panel shows."
        )
        self.rects: dict[str, pygame.Rect] = {}
        self._print_room = pygame.Rect(0, 0, 0, 0)
        self._magnification: tuple[int, float] = (0, 1.0)

    @property
    def shown(self) -> Shown:
        return self.stage.session.shown

    def panels(self) -> dict[str, pygame.Rect]:
        names = {"print": "printed line", "lower": "lower panel", "deviation": "tool deviation"}
        return {names.get(k, k): r for k, r in self.rects.items() if k != "settings" or not self.stage.narrow}

    def left(self) -> None:
        self.paper.forget()

    def layout(self, rect: pygame.Rect, look: Look) -> list[Control]:
        gap = look.px(16)
        narrow, low = self.stage.narrow, self.stage.low
        drawer = self.stage.drawer_open or not narrow
        width = rect.w
        side = max(look.px(292), round(width * 0.18)) if not narrow else look.px(320)
        rest = width - (side + gap if not narrow else 0) - gap
        left = round(rest * (31 / 76 if not narrow else 0.42))
        middle = rest - left
        upper = round((rect.h - gap) * 0.555)
        x = rect.x + left + gap
        if low:
            self.rects = {
                "machine": pygame.Rect(rect.x, rect.y, left, rect.h),
                "deviation": pygame.Rect(x, rect.y, middle, upper),
                "lower": pygame.Rect(x, rect.y + upper + gap, middle, rect.h - upper - gap),
            }
        else:
            self.rects = {
                "machine": pygame.Rect(rect.x, rect.y, left, upper),
                "print": pygame.Rect(rect.x, rect.y + upper + gap, left, rect.h - upper - gap),
                "deviation": pygame.Rect(x, rect.y, middle, upper),
                "spectrum": pygame.Rect(x, rect.y + upper + gap, middle, rect.h - upper - gap),
            }
        self.rects["settings"] = pygame.Rect(rect.right - side, rect.y, side, rect.h)
        self.plot.rect = self.rects["deviation"].inflate(-look.px(40), -look.px(40)).move(0, look.px(12))
        controls: list[Control] = [self.plot]
        if low:
            lower = self.rects["lower"]
            self.half.rect = pygame.Rect(
                lower.x + look.px(18), lower.y + look.px(14), self.half.natural_width(look), look.px(30)
            )
            controls.append(self.half)
        inner = self.settings.layout(self.rects["settings"], look)
        return controls + (inner if drawer else [])

    def draw(self, target: pygame.Surface, look: Look) -> None:
        shown, now = self.shown, self.stage.clock.time_s
        short = shown.result.design.detail
        whole = detail_words(shown.result)
        detail = f"detail {short}"
        stale = bool(self.stage.session.failed)
        for name, rect in self.rects.items():
            if name == "settings":
                continue
            with inside(target, rect):
                if name == "machine":
                    box = panel(target, look, rect, "Machine", shown.result.title, detail)
                    machine_with_tensions(target, look, box, shown, now, frame_s=self.stage.frame_s)
                elif name == "deviation":
                    box = panel(
                        target,
                        look,
                        rect,
                        "Tool deviation",
                        [
                            f"µm, tool minus commanded position; {whole}",
                            f"µm, tool minus commanded position; {detail}",
                            f"µm, tool minus command; {short}",
                            f"µm; {detail}",
                            f"µm; {short}",
                        ],
                        "shaded: speeding up or slowing down",
                    )
                    self.deviation.draw(target, box, look, shown, now)
                elif name == "spectrum" or (name == "lower" and self.half.value == 0):
                    box = self._lower_panel(
                        target, look, rect, name, title_of(shown.result.analysis)[0], self._spectrum_words(shown)
                    )
                    self.spectrum.draw(target, box, look, shown)
                else:
                    words = str(shown.result.plan.description).split(" at ")[0]
                    box = self._lower_panel(target, look, rect, name, "Printed line", f"{words}; {detail}")
                    self._print(target, look, box, shown, now)
                if stale:
                    pad = look.px(12)
                    veil(target, look, rect.inflate(-pad, -pad))
        if self.stage.low:
            self.draw_controls(target, look, [self.half])
        if self.stage.drawer_open or not self.stage.narrow:
            if self.stage.narrow:
                shadow = self.rects["settings"].inflate(look.px(16), look.px(16))
                veil_rect = shadow.clip(target.get_rect())
                target.fill(look.theme.page, veil_rect)
            self.settings.draw(target, look)

    def _lower_panel(
        self, target: pygame.Surface, look: Look, rect: pygame.Rect, name: str, title: str, meaning: str | list[str]
    ) -> pygame.Rect:
        if name != "lower":
            return panel(target, look, rect, title, meaning)
        box = panel(target, look, rect, "")
        room = box.right - self.half.rect.right - look.px(16)
        text.draw(
            target,
            look,
            wording(look, meaning, room),
            box.right,
            box.y + look.px(15),
            14,
            colour=look.theme.dim,
            align="right",
        )
        drop = look.px(34)
        return pygame.Rect(box.x, box.y + drop, box.w, box.h - drop)

    @staticmethod
    def _spectrum_words(shown: Shown) -> list[str]:
        """What the spectrum shows and at which detail, longest first; what the detail leaves out is said where it fits."""
        count = max((s.ringdowns for s in shown.result.analysis.spectra.values()), default=0)
        many = "1 ring-down" if count == 1 else f"up to {count} ring-downs"
        whole, plain = detail_words(shown.result), f"detail {shown.result.design.detail}"
        if shown.result.analysis.responses:
            words = title_of(shown.result.analysis)[1]
            return [f"{words}; {whole}", f"{words}; {plain}"]
        mean = f"µm, mean over {many} an axis; "
        longer = [mean + whole] if whole == plain else [mean + whole, f"µm; {whole}", mean + plain]
        return [*longer, f"µm; {plain}"]

    def _print(self, target: pygame.Surface, look: Look, box: pygame.Rect, shown: Shown, now: float) -> None:
        key = look.px(172)
        paper = pygame.Rect(box.x, box.y, box.w - key, box.h)
        if self._magnification[0] != shown.serial:
            self._magnification = (shown.serial, best_magnification(shown))
        scale = fit_path(paper, shown, self._magnification[1], look.px(8))
        self.paper.draw(target, paper, look, shown, scale, now, width_px=2.6 * look.scale)
        print_key(target, look, box.right - key + look.px(16), box.y + look.px(6), scale, to_come=True, room=key)

    def _tip(self, time_s: float) -> str:
        shown = self.shown
        if not 0 <= time_s <= shown.end_s:
            return ""
        values = [
            f"{a.upper()} {text.number(float(shown.at(time_s, shown.deviation_m[a])) * 1e6, 1, signed=True)} µm"
            for a in ("x", "y")
        ]
        return f"{', '.join(values)} at {text.number(time_s * 1e3, 1)} ms. Press to move the clock here."

"""Words that cover each other, or that a card cuts: the window drawn in every state, at every size and scale.

All of it: `nice python -m tests.viz.window.overlap` (an hour of a processor); words after it choose, as `desk-corexy wall 1024`.
`--fit DIR` adds the sheet of a fit that was left there, `--shots DIR` keeps a picture of what was found.
"""

from __future__ import annotations

import argparse
import contextlib
import time
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path

import pygame
from beltspring.sim import load, load_prices, shipped
from beltspring.viz.draw import text
from beltspring.viz.files.fit_read import read_fit
from beltspring.viz.window.app import App
from beltspring.viz.window.cards import CARDS
from beltspring.viz.window.chrome import draw_tooltip
from beltspring.viz.window.runs import run_changed
from beltspring.viz.window.sheets.designs import DesignsSheet
from beltspring.viz.window.sheets.fit import FitSheet
from beltspring.viz.window.sheets.reading import ReadingSheet
from beltspring.viz.window.sheets.search import SearchSheet
from beltspring.viz.window.stage import SCALES as ENDS
from beltspring.viz.window.stage import SMALLEST

SIZES = ((1024, 680), (1280, 800), (1920, 1080), (2560, 1440))
SCALES = (0.8, 1.0, 1.5, 2.12, 2.5)
THEMES = ("dark", "light")
NAMES = tuple(s.name for s in shipped())
SCREENS = {
    "mixing": "mixing", "give": "mixing", "rung": "mixing", "path": "mixing", "ringing": "ringing", "corner": "ringing",
    "motors": "ringing", "drawer": "ringing", "moves": "moves", "compare": "compare", "print": "print", "wall": "print",
}  # fmt: skip
PRESENTED = tuple(f"presenting {name}" for name in ("mixing", "ringing", "moves", "compare", "print"))
TAUGHT = tuple(f"card {k + 1} {when}" for k in range(len(CARDS)) for when in ("asks", "tells"))
SHEETS = ("keys", "check", "open", "save", "export", "designs", "reading", "search", "fit")
TIPS = tuple(f"tooltips {name}" for name in ("mixing", "ringing", "moves", "compare", "print"))
STATES = (*SCREENS, *PRESENTED, *TAUGHT, *(f"sheet {name}" for name in SHEETS), *TIPS)
View = tuple[tuple[int, int], float, str]


@lru_cache(maxsize=16)
def report(name):
    return run_changed(load(name), {})


def views() -> list[View]:
    """Every size, scale and theme, once each: what a window has no room for is the largest that it has."""
    out = {}
    for size in SIZES:
        room = min(size[0] / SMALLEST[0], size[1] / SMALLEST[1])
        for scale in SCALES:
            for theme in THEMES:
                out.setdefault((size, round(max(ENDS[0], min(scale, room)), 3), theme), (size, scale, theme))
    return list(out.values())


class Poser:
    """One window on a scenario, brought into one state after another."""

    def __init__(self, name: str, fit: str = "") -> None:
        self.app = App([report(name)], initial_screen="mixing", prices=load_prices("example"))
        self.fit, self.surface = fit, pygame.Surface((8, 8), 0, 32)

    def close(self) -> None:
        self.app.close()

    def see(self, view: View) -> None:
        """Size, scale and theme."""
        size, scale, theme = view
        stage = self.app.stage
        stage.scale, stage.theme_name = scale, theme
        self.app.resize(size)
        if self.surface.get_size() != size:
            self.surface = pygame.Surface(size, 0, 32)

    def there(self, state: str) -> bool:
        """Whether this machine has such a state."""
        lessons = self.app.frame.lessons
        if state.startswith("card 4"):
            return bool(lessons.stage.session.value("belts.ea_n") and lessons.stage.session.value("carriage.mass_g"))
        return state != "sheet fit" or bool(self.fit)

    def pose(self, state: str) -> None:
        """Bring the window into a state, from whichever it is in."""
        app, deck = self.app, self.app.deck
        deck.close_sheet()
        app.frame.lessons.end()
        app.stage.presenting, app.stage.drawer_open, app.clock.playing = False, state == "drawer", False
        app.message, app.stage.greeting = "", False
        kind, _, rest = state.partition(" ")
        name = {
            "presenting": rest,
            "tooltips": rest,
            "card": "mixing",
            "sheet": "compare" if rest in ("designs", "search") else "ringing",
        }
        deck.show(deck.named(name.get(kind) or SCREENS.get(state, "ringing")))
        app.step(0.0, [], None)
        app.wait_until_ready()
        self._screen(state)
        if kind == "presenting":
            app.stage.presenting = True
        elif kind == "card":
            self._card(*rest.split())
        elif kind == "sheet":
            self._sheet(rest)

    def _screen(self, state: str) -> None:
        screen, app = self.app.screen, self.app
        if screen.name == "mixing":
            screen.set_mode({"give": 1, "rung": 1, "path": 2}.get(state, 0))
            if state in ("give", "rung"):
                (screen.give.again if state == "rung" else lambda: screen.give.pull_with(screen.give._last_n))()
        elif screen.name == "print":
            screen.seen.value = int(state == "wall")
        elif screen.name == "ringing":
            screen.below.value = int(state == "motors")
        corners = app.session.shown.corners
        if state == "corner" and corners:
            app.clock.go(corners[len(corners) // 2].stop_s + 0.004)

    def _card(self, number: str, when: str) -> None:
        lessons = self.app.frame.lessons
        lessons._go(int(number) - 1)
        self.app.wait_until_ready()
        if when == "tells":
            lessons.answer(None)
            until = time.monotonic() + 120.0
            while lessons.two_words().endswith("…") and number == "4" and time.monotonic() < until:
                lessons.advance()
                time.sleep(0.01)
        self.app.clock.playing = False

    def _sheet(self, name: str) -> None:
        app, stage = self.app, self.app.stage
        if name == "designs":
            app.deck.open_sheet(DesignsSheet(stage, app.screen.difference, app.screen.fleet))
        elif name == "reading":
            app.deck.open_sheet(ReadingSheet(stage))
        elif name == "fit":
            app.deck.open_sheet(FitSheet(stage, read_fit(Path(self.fit)), lambda: None))
        elif name == "search":
            sheet = SearchSheet(stage)
            app.deck.open_sheet(sheet)
            until = time.monotonic() + 120.0
            while sheet.running and time.monotonic() < until:
                sheet.advance(0.02)
                time.sleep(0.02)
            sheet.advance(0.02)
        else:
            app.show_sheet(name)

    def found(self, state: str) -> list[tuple[str, str]]:
        """Pairs of words that cover each other as the window stands, and words that a card cuts."""
        app = self.app
        app._dirty = True
        with text.Log() as log, _counted(app, log) as upper:
            app.step(0.0, [], self.surface)
            if state in TIPS:
                return self._tooltips(log)
        words = [(w.text, w.rect.clip(w.clip).inflate(-2, -round(0.24 * w.size))) for w in log.words]
        card = app.frame.lessons.rect if app.frame.lessons.card is not None else None
        lower, above = words[: upper[0]], words[upper[0] :]
        out = []
        if app.sheet is not None:
            lower = []  # in shadow
        elif card is not None:
            out = [(w, "cut by the card") for w, ink in lower if ink.colliderect(card) and not card.contains(ink)]
            lower = [(w, ink) for w, ink in lower if not ink.colliderect(card)]
        elif state == "drawer":
            lower = self._beside_drawer(lower, log)
        return out + _pairs(lower) + _pairs(above)

    def _beside_drawer(self, words, log):
        """What the drawer lies above is covered, or part of it; what it says itself stays."""
        panel = self.app.screen.rects["settings"]
        mine = [k for k, w in enumerate(log.words) if panel.contains(w.clip) and w.clip == panel]
        first = min(mine, default=0)
        return [(w, ink) for k, (w, ink) in enumerate(words) if k >= first or not ink.colliderect(panel)]

    def _tooltips(self, log: text.Log) -> list[tuple[str, str]]:
        """Every tooltip stays in the window, keeps off its control, and its lines apart."""
        out, window = [], self.surface.get_rect()
        for control in self.app.input.controls:
            log.words.clear()
            draw_tooltip(self.surface, self.app.look, control.tip, control.rect)
            words = [(w.text, w.rect) for w in log.words]
            out += [(w, "leaves the window") for w, ink in words if not window.contains(ink)]
            out += [
                (w, f"covers {control.name}")
                for w, ink in words
                if ink.colliderect(control.rect) and control.rect.h < 0.4 * window.h
            ]
            out += _pairs(words)
        return out


@contextlib.contextmanager
def _counted(app: App, log: text.Log) -> Iterator[list[int]]:
    """How many words were drawn before a card or a sheet: what stands above comes after."""
    lessons, sheet, upper = app.frame.lessons, app.sheet, [1 << 30]

    def first(draw: Callable[..., None]) -> Callable[..., None]:
        def counted(*given):
            upper[0] = min(upper[0], len(log.words))
            draw(*given)

        return counted

    if lessons.card is not None:
        lessons.draw = first(lessons.draw)
    if sheet is not None:
        sheet.draw = first(sheet.draw)
    try:
        yield upper
    finally:
        vars(lessons).pop("draw", None)
        if sheet is not None:
            vars(sheet).pop("draw", None)


def _pairs(words: list[tuple[str, pygame.Rect]]) -> list[tuple[str, str]]:
    """Words that touch: what is clipped away is not seen, and letters' edges may."""
    seen = [(w, ink) for w, ink in words if ink.w > 0 and ink.h > 0]
    return [
        (w, seen[k + 1 + j][0])
        for k, (w, ink) in enumerate(seen)
        for j in ink.collidelistall([i for _, i in seen[k + 1 :]])
    ]


def without_pixels() -> None:
    """Draw no shapes from now on: words stand where they stand all the same, in half the time."""
    for name in ("polygon", "lines", "line", "aaline", "aalines", "circle", "rect", "arc"):
        setattr(pygame.draw, name, lambda *_, **__: pygame.Rect(0, 0, 0, 0))
    for name in ("smoothscale", "scale"):
        setattr(pygame.transform, name, lambda image, size, *_: pygame.Surface(size, image.get_flags(), image))


def _wanted(args: argparse.Namespace, name: str, state: str, view: View) -> bool:
    (wide, high), scale, theme = view
    called = f"{name}/{state}/{wide}x{high}/{scale}/{theme}"
    return all(w in called for w in args.words) and not any(w in called for w in args.without)


def main() -> None:
    """The grid, or the cases whose name holds every word given."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("words", nargs="*")
    parser.add_argument("--without", action="append", default=[], metavar="WORD")
    parser.add_argument("--fit", default="")
    parser.add_argument("--shots", default="")
    args = parser.parse_args()
    if not args.shots:
        without_pixels()
    looked = bad = 0
    for name in NAMES:
        cases = {state: [v for v in views() if _wanted(args, name, state, v)] for state in STATES}
        if not any(cases.values()):
            continue
        poser = Poser(name, args.fit)
        for state, wanted in cases.items():
            if not wanted or not poser.there(state):
                continue
            if state in PRESENTED:  # as large as fits, whatever the scale
                wanted = list({(v[0], v[2]): v for v in wanted}.values())
            poser.pose(state)
            for view in wanted:
                poser.see(view)
                found, looked = poser.found(state), looked + 1
                bad += bool(found)
                if found:
                    print(name, state, *view, found[:6], flush=True)
                if found and args.shots:
                    shot = f"{name}-{state}-{view[0][0]}-{view[1]}-{view[2]}.png".replace(" ", "-")
                    pygame.image.save(poser.surface, Path(args.shots) / shot)
        poser.close()
        print(f"# {name}: {looked} looked at so far, {bad} with words that overlap", flush=True)


if __name__ == "__main__":
    main()

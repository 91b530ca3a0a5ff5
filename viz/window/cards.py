"""The six cards of the lessons: what each asks, shows and tells, from the machine's own numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from beltspring.sim import Report

from ..charts.corners import worst_corner
from ..draw import text
from .screens.mixing import MixingScreen
from .screens.printed import PrintScreen
from .screens.screen import Screen
from .screens.what_moves import WhatMovesScreen
from .stage import Stage


class Pupil(Protocol):
    """What a card needs of the lessons."""

    @property
    def stage(self) -> Stage: ...

    @property
    def report(self) -> Report: ...

    def screen(self, name: str) -> Screen: ...

    def two_runs(self) -> None: ...

    def two_words(self) -> str: ...

    def better(self) -> int: ...


@dataclass(frozen=True)
class Card:
    """screen: where it plays.  asks: before the answer.  options: to guess from; empty: nothing is asked.

    right: number of the right one.  shows: what it does on the screen.  tells: afterwards, in words.
    over: panels that the card may lie in place of, as it does not speak of them: the first group that has room for it.
    top: across the upper edge of the group, else it covers the group whole, so that no word is cut.
    """

    title: str
    screen: str
    asks: str
    options: tuple[str, ...]
    right: Callable[[Pupil], int]
    shows: Callable[[Pupil], None]
    tells: Callable[[Pupil], str]
    over: tuple[tuple[str, ...], ...]
    top: bool = False


def _bench(lessons: Pupil) -> MixingScreen:
    screen = lessons.screen("mixing")
    assert isinstance(screen, MixingScreen)
    return screen


WAYS = ("to the right", "to the left", "to the rear", "to the front", "diagonal")


def _alone(lessons: Pupil) -> int:
    """The number of the bench's move of one motor alone."""
    moves = _bench(lessons).bench.moves()
    return next((k for k, m in enumerate(moves) if sum(t != 0 for t in m.turns) == 1), 0)


def _alone_way(lessons: Pupil) -> int:
    outcome = _bench(lessons).bench.moves()[_alone(lessons)].outcome
    return WAYS.index(outcome) if outcome in WAYS else -1


def _turn_alone(lessons: Pupil) -> None:
    screen = _bench(lessons)
    screen.set_mode(0)
    screen.play(_alone(lessons))


def _told_alone(lessons: Pupil) -> str:
    bench = _bench(lessons).bench
    return f"X is {bench.share_words(0)}; Y is {bench.share_words(1)}: the belts run that way."


def _pull(lessons: Pupil) -> None:
    screen = _bench(lessons)
    screen.set_mode(1)
    screen.give.pull_with(np.array([10.0, 0.0]))


def _told_pull(lessons: Pupil) -> str:
    push = _bench(lessons).give.push
    if push is None or push.stiffness_n_m is None:
        return "Nothing gives here."
    way = text.micrometres(float(np.linalg.norm(push.gives_m)))
    force = text.number(float(np.linalg.norm(push.force_n)))
    return (
        f"The motors hold still, and yet {force} N pull the tool {way} µm away: {text.sensible(push.stiffness_n_m / 1e3)} "
        "newtons for a millimetre. Drag it yourself and let go: it springs back and rings."
    )


def _worst(lessons: Pupil) -> int:
    shown = lessons.stage.session.shown
    worst = worst_corner(shown.result, shown.corners)
    return worst if worst is not None else 0


def _ring(lessons: Pupil) -> None:
    corners, clock = lessons.stage.session.shown.corners, lessons.stage.clock
    if corners:
        corner = corners[_worst(lessons)]
        clock.speed_index = 2
        clock.go(corner.begin_s)
        lessons.stage.repeat(corner.name)
        clock.playing = not lessons.stage.reduce_motion


def _told_ring(lessons: Pupil) -> str:
    corners = lessons.stage.session.shown.corners
    if not corners:
        return "This move stops nowhere."
    corner = corners[_worst(lessons)]
    # The plot above tells how far it is off the line, which is more than the ringing alone: one number for one moment.
    return lessons.report.caption(corner.name, corner.leg, sized=False)[1]


def _wall(lessons: Pupil) -> None:
    lessons.stage.repeat("")
    lessons.stage.clock.playing = False
    screen = lessons.screen("print")
    assert isinstance(screen, PrintScreen)
    screen.seen.value = 1


def _told_wall(lessons: Pupil) -> str:
    found = lessons.report.analysis
    if found.ripple_spacing_m is None or found.ripple_speed_m_s is None:
        return "Nothing rings here that would leave ripples."
    spacing, speed = 1e3 * found.ripple_spacing_m, 1e3 * found.ripple_speed_m_s
    return (
        f"At {speed:.0f} mm/s it leaves a ripple every {spacing:.1f} mm: speed over frequency. At half the speed they lie "
        f"{spacing / 2:.1f} mm apart; how high they are is the acceleration's doing, not the speed's."
    )


def _moves(lessons: Pupil) -> None:
    screen = lessons.screen("moves")
    assert isinstance(screen, WhatMovesScreen)
    screen.entered()


def _told_moves(lessons: Pupil) -> str:
    ways = lessons.report.ways
    if not ways:
        return "Nothing swings here."
    way = max(ways, key=lambda w: max(w.swing_m))
    return f"{way.title}, {way.mode.frequency_hz:.3g} times a second. {way.helps} {way.will_not}"


def _none(_: Pupil) -> int:
    return -1


#: Of the ringing test what stands below the curve: two panels, or one where the window is low.
BELOW_CURVE = (("this corner", "spectrum"), ("lower panel",))
FOOT = (("what the tool shows",),)
WALLS = ("wall 1", "wall 2", "wall 3")
CARDS = (
    Card("Turn only one motor: which way?", "mixing", "Guess first, then turn: where does the carriage go?", WAYS,
         _alone_way, _turn_alone, _told_alone, (("moves",), ("what the carriage does", "moves"))),
    Card("A belt is a spring", "mixing", "", (), _none, _pull, _told_pull, (("belts",), ("push", "belts"))),
    Card("Told to stop, it rings", "ringing", "", (), _none, _ring, _told_ring,
         BELOW_CURVE),
    Card("Stiffer or lighter?", "ringing", "Which brings more here: stiffer belts, or a lighter carriage?",
         ("stiffer belts", "a lighter carriage"), lambda lessons: lessons.better(), lambda lessons: lessons.two_runs(),
         lambda lessons: lessons.two_words(), BELOW_CURVE),
    Card("Speed against ripples", "print", "", (), _none, _wall, _told_wall, (WALLS,), top=True),
    Card("What moves", "moves", "", (), _none, _moves, _told_moves, FOOT),
)  # fmt: skip

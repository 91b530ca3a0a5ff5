"""What a limit is in words: where it is safe, what gives way, where it passes again, or why there is none."""

from __future__ import annotations

from dataclasses import dataclass

from ..chain.stand import Trial
from .walk import RANGE, Move, Spans, Walk

MOST_SPANS = 4  # stretches that pass again, told in words; all are in the numbers
THIN = "\u202f"  # between thousands, as in the pictures

_WORDS = {
    "ringing": "it rings more than is allowed",
    "torque": "a motor has no torque to spare",
    "slack": "a belt goes slack",
    "lost steps": "a motor loses steps",
    "run": "the run does not end",
}


def _broken(trial: Trial) -> str:
    return " and ".join(_WORDS[name] for name in trial.broken)


def named(move: Move) -> str:
    """What a move is called."""
    return "the scenario's own move" if move == "own" else f"a step along {move.upper()}"


@dataclass(frozen=True)
class Words:
    """The words of one walk."""

    walk: Walk

    def answer(self, value: float | None, first: Trial, spans: Spans, beyond: float | None) -> str:
        """ "...: safe up to 120 mm/s (nothing from 25 mm/s on fails), then it rings ...; passes again ...; beyond ..."."""
        lowest, highest = self.shown(min(self.walk.tried)), self.shown(max(self.walk.tried))
        if value is None:
            words = f"{named(self.walk.move)}: already at {lowest} {_broken(first)}"
        else:
            words = (
                f"{named(self.walk.move)}: safe up to {self.shown(value)} (nothing from {lowest} up to it fails), then "
                f"{_broken(first)}"
            )
        told = [f"{self.shown(a).partition(' ')[0]} to {self.shown(b)}" for a, b in spans]
        if spans and beyond is None:
            told[-1] = f"{self.shown(spans[-1][0])} on, as far as was tried, {highest}"
        if len(told) > MOST_SPANS:
            told = [*told[: MOST_SPANS - 1], f"{len(told) - MOST_SPANS} stretches more", told[-1]]
        if told:
            words += f"; passes again from {', '.join(told[:-1])}{' and from ' if told[1:] else ''}{told[-1]}"
        if beyond is not None:
            words += f"; beyond {self.shown(beyond)} every value tried fails, up to {highest}"
        return words

    def slope(self, slope: float, what: str) -> str:
        unit = "mm/s²" if self.walk.quantity == "acceleration" else "mm/s"
        if what == "ringing":
            return f"; there it rings {1e3 * slope:.2g} µm more for each {unit}"
        return f"; there it takes {0.1 * slope:.2g} % more of the torque for each {unit}"

    def why_all(self, first: Trial) -> str:
        highest = self.shown(max(self.walk.tried))
        words = f"{named(self.walk.move)}: already at {self.shown(first.value)} {_broken(first)}, and at every value tried up to"
        words += f" {highest}"
        if self.walk.quantity == "speed":
            return f"{words}; speed is not what limits you, slower does not help"
        if first.broken[0] == "ringing" and self.walk.move == "own":
            words += "; what is left comes from the jumps of speed at corners, motion.corner_speed_step_mm_s"
        return words

    def why_none(self, last: Trial) -> str:
        top = RANGE[self.walk.quantity][1]
        lowest = self.shown(min(self.walk.tried))
        if self.walk.quantity == "speed" and last.top_speed_m_s < 0.999 * last.value:
            return (
                f"{named(self.walk.move)}: speed is not what limits you, nothing from {lowest} on fails, and the travel is too "
                f"short to go faster than {last.top_speed_m_s * 1e3:.0f} mm/s at this acceleration"
            )
        if last.value < top:
            return (
                f"{named(self.walk.move)}: no limit, above {self.shown(last.value)} the move does not change any more"
            )
        return f"{named(self.walk.move)}: no limit up to {self.shown(top)}, the highest that was tried"

    def shown(self, value: float) -> str:
        unit = "mm/s²" if self.walk.quantity == "acceleration" else "mm/s"
        figures = f"{value * 1e3:.4g}" if value < 1 else f"{value * 1e3:,.0f}".replace(",", THIN)
        return f"{figures} {unit}"

"""A finding: what a rule measured, what it measured it against, where that limit comes from, and what to change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from ..parts.kinds import MARKS

if TYPE_CHECKING:
    from .subject import Subject

Severity = Literal["stop", "warn", "note"]
ORDER: tuple[Severity, ...] = ("stop", "warn", "note")


@dataclass(frozen=True)
class Place:
    """A place on the machine as a drawing shows it: point (2,) m seen from above, with the tool at `tool` (3,) m."""

    point: tuple[float, float]
    tool: tuple[float, float, float]


@dataclass(frozen=True)
class Finding:
    """One thing a rule has to say.

    severity: "stop" it will not work, "warn" it will disappoint, "note" good to know.
    where: the part it is about.  value, limit: in `unit`, None where there is no number.  basis: where the limit comes from.
    change: what to change, with numbers.  words: the finding as a sentence.  caution: of what can hurt somebody here.
    """

    rule: str
    severity: Severity
    where: str
    value: float | None
    limit: float | None
    unit: str
    basis: str
    change: str
    words: str
    caution: str = ""
    places: tuple[Place, ...] = ()


@dataclass(frozen=True)
class Rule:
    """A rule: its name, the question it asks, and how it judges. judge returns nothing where all is well and there is
    nothing to tell."""

    name: str
    asks: str
    judge: Callable[[Subject], list[Finding]]


def published(source: str) -> str:
    """Basis of a limit from a published source that was read."""
    return f"{MARKS['published']}: {source}"


def memory(source: str) -> str:
    """Basis of a limit from a handbook, remembered."""
    return f"{MARKS['memory']}: {source}"


def practice(what: str = "") -> str:
    """Basis of a limit that everybody in the trade uses and nobody wrote down."""
    return f"{MARKS['practice']}{': ' if what else ''}{what}"


def derived(how: str) -> str:
    """Basis of a limit that follows from geometry or mechanics."""
    return f"{MARKS['derived']}: {how}"


def estimate(why: str) -> str:
    """Basis of a limit that is our own judgement; the reason is told with it."""
    return f"{MARKS['estimate']}: {why}"

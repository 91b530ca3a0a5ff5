"""What a spread says, in sentences: how far, what decides it, what to measure first, and which design rings less."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..analyse.reading import length

if TYPE_CHECKING:
    from .spread import Pair, Spread

#: So many things are told of what decides.
MOST_TOLD = 3


def spread_sentences(found: Spread) -> list[str]:
    """One design's spread, what decides it, and which number to measure first, and how."""
    out = []
    judged = found.answers.get("judged_um")
    if judged is None:
        out.append("Nothing to judge: in this move no axis rings at rest in any of the machines.")
    elif judged.high - judged.low <= 1e-3 * judged.high:
        out.append(
            f"Judged ringing {length(judged.middle * 1e-6)}: the uncertain numbers do not move it."
            if found.uncertain
            else f"Judged ringing {length(judged.middle * 1e-6)}: every number is written, and counts as measured."
        )
    else:
        low, middle, high = (length(v * 1e-6) for v in (judged.low, judged.middle, judged.high))
        out.append(
            f"Of 10 machines built from these parts 8 ring by {low} to {high} (judged; half of them below {middle})."
        )
        out += _what_decides(found)
    if found.slipping:
        out.append(
            f"In {found.slipping} of {found.draws} machines a motor falls out of step at the speed as written: "
            "`beltspring limits` shows the margin."
        )
    if found.failed:
        out.append(f"{found.failed} of {found.draws} machines cannot be built or do not stand; they are left out.")
    return out


def _what_decides(found: Spread) -> list[str]:
    if not found.shares:
        return ["No single number decides: none stands out of what chance shows with so many machines."]
    told = [f"the {s.name.removeprefix('the ')} ({100 * s.share:.0f} %)" for s in found.shares[:MOST_TOLD]]
    first = found.shares[0]
    rest = f"; then {', '.join(told[1:])}" if len(told) > 1 else ""
    return [f"What decides: {told[0]} of the spread{rest}.", f"Measure first: {first.name}. {_capital(first.measure)}."]


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def pair_sentence(label: str, than: str, pair: Pair) -> str:
    """ "steel cord rings less than as written in 121 of 128 machines." """
    if pair.same == pair.of:
        return f"{label} rings like {than} in every one of {pair.of} machines."
    return f"{label} rings less than {than} in {pair.less} of {pair.of} machines."


SURE_WORDS = {
    "yes": "That is sure",
    "likely": "That is likely, not sure",
    "no": "That is not sure",
    "same": "They are as good as the same",
}


def verdict_sentence(label: str, than: str, pair: Pair, sure: str | None) -> str:
    """The pair, and how sure it is that the first is the better one."""
    if sure is None:
        return f"Nothing says how sure it is that {label} rings less than {than}."
    why = f": the median difference is {100 * pair.difference:.0f} %" if sure == "same" else ""
    return f"{pair_sentence(label, than, pair)} {SURE_WORDS[sure]}{why}."

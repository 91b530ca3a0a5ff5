"""What an improvement says, in sentences: each change with its gain and price, what `check` would stop, and what is left."""

from __future__ import annotations

from ..analyse.reading import length
from ..chain.judged import between
from .improve import Improved, Improvement
from .spread_words import SURE_WORDS
from .verdict import longer_words


def gain_words(found: Improvement, one: Improved) -> str:
    """ "−27 % ringing (58 µm → 43 µm judged) for +3.62 EUR: belts with steel cord." """
    after = length(one.judged_m)
    if one.gain_share is None or found.judged.judged_m is None:
        gain = f"no motor slips at most speeds any more ({after} judged)"
    else:
        gain = f"{_signed(-100 * one.gain_share, 0)} % ringing ({length(found.judged.judged_m)} → {after} judged)"
    price = "" if one.price is None else f" for {_signed(one.price, 2)} {currency(found)}".rstrip()
    longer = f", {longer_words(1 + one.longer_share)}" if one.longer_share > 0.005 else ""
    return f"{gain}{price}{longer}: {one.words}"


def currency(found: Improvement) -> str:
    """As the price file has it, "" without one."""
    return "" if found.priced is None else found.priced.currency


def _signed(value: float, digits: int) -> str:
    return f"{value:+.{digits}f}".replace("-", "−")


def sure_words(one: Improved) -> str:
    """ "less in 126 of 128 machines: sure"; "" where nobody asked."""
    if one.pair is None or one.sure is None:
        return ""
    told = SURE_WORDS[one.sure].removeprefix("That is ").removeprefix("They are ")
    return f"less in {one.pair.less} of {one.pair.of} machines: {told}"


def improvement_sentences(found: Improvement) -> list[str]:
    """The reading: how it rings as written, the best change, the best together, what is free, what is stopped."""
    out = [_as_written(found)]
    if found.checked.stops:
        out.append(_stopped_as_written(found))
    out.append(_best(found))
    if found.together:
        out.append(f"Together: {gain_words(found, min(found.together, key=lambda one: one.judged_m))}.")
    if found.motion:
        out.append(f"Without a new part: {gain_words(found, found.motion[0])}.")
    if found.stopped:
        one = found.stopped[0]
        out.append(
            f"Not taken: {one.words} would ring by {length(one.judged_m)}, but `check` stops it ({_rules(one)})."
        )
    if not found.complete:
        out.append(f"Ended early: {found.tried} of {found.possible} changes were tried.")
    return out


def _as_written(found: Improvement) -> str:
    judged = found.judged
    if judged.judged_m is None or judged.least_m is None or judged.most_m is None:
        return "As written a motor slips at most speeds around its own, so that its ringing cannot be judged."
    over = "its corners" if judged.by_corners else "speeds near its own"
    spread = between(judged.least_m, judged.most_m)
    return f"As written it rings by {length(judged.judged_m)}, judged over {over} ({spread})."


def _stopped_as_written(found: Improvement) -> str:
    stops = found.checked.stops
    words = f"`check` stops it as written ({', '.join(stops)})"
    ends = [one.words for one in (*found.changes, *found.motion) if one.ended]
    return f"{words}; {ends[0]} ends that." if ends else f"{words}; mend that first."


def _rules(one: Improved) -> str:
    return ", ".join(one.new_stops)


def _best(found: Improvement) -> str:
    if not found.changes:
        tried = "none of the changes tried so far" if not found.complete else "no single change of a part"
        return f"{tried[:1].upper()}{tried[1:]} makes it ring 2 % less and passes `check`."
    best = found.changes[0]
    sure = sure_words(best)
    if best.stops:
        return f"Rings least, but `check` still stops it ({', '.join(best.stops)}): {gain_words(found, best)}."
    warned = f"; `check` then warns of {', '.join(best.new_warnings)}" if best.new_warnings else ""
    return f"Best single change: {gain_words(found, best)}{f' ({sure})' if sure else ''}{warned}."

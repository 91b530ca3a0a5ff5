"""What a search says, in sentences: the design to take, what each further step of money buys, which key decides."""

from __future__ import annotations

from typing import Any

from ...scenario.fields import tidy
from .found import ALIKE, Design, Searched, Step, bought
from .goals import ANSWERS

#: What an answer is called in a sentence.
CALLED = {
    "judged_um": "judged ringing",
    "path_rms_um": "off the line, root mean square",
    "price": "price",
    "job_s": "time of the move",
    "mass_g": "moving mass",
}
#: A key with less of a share is not worth a line.
WORTH_SHARE = 0.05
MOST_BOUGHT = 4


def answer_words(name: str, value: float, currency: str = "") -> str:
    """ "33.4 µm", "322.55 EUR": a value of goals.ANSWERS with its unit."""
    if name == "price":
        return f"{value:.2f} {currency}".rstrip()
    unit = ANSWERS[name][0]
    return f"{value:.0f} {unit}" if value >= 100 else f"{value:.3g} {unit}"


def currency(found: Searched) -> str:
    """As the price file has it, "" without one."""
    return "" if found.prices is None else found.prices.currency


def design_words(found: Searched, one: Design) -> str:
    """ "33.4 µm, 322.55 EUR: belt-2mm-6-steel, slot-2020" """
    told = [
        answer_words(name, value, currency(found))
        for name in found.goals.least
        if (value := one.answer(name)) is not None
    ]
    return f"{', '.join(told)}: {found.space.label(one.genes)}"


def search_sentences(found: Searched) -> list[str]:
    """The reading."""
    out = [_how_many(found)]
    if found.chosen is None:
        out.append(_none(found))
    else:
        least = found.goals.least[0]
        out.append(f"Least {CALLED[least]}: {design_words(found, found.chosen)}.")
        if found.chosen.warnings:
            out.append(f"`check` warns of it: {', '.join(found.chosen.warnings)}.")
        out += _ties(found)
        out += _money(found)
        out += _worth(found)
    if found.knobs and found.knobs[0].share >= WORTH_SHARE:
        told = [f"{k.key} ({100 * k.share:.0f} %)" for k in found.knobs if k.share >= WORTH_SHARE]
        idle = [k.key for k in found.knobs if k.share < 0.01]
        more = f"; {_listed(idle)} hardly" if idle else ""
        out.append(f"What decides the ringing among them: {_listed(told)}{more}.")
    if not found.complete:
        out.append("Ended early: the same search with the same --store goes on where it was.")
    return out


def _how_many(found: Searched) -> str:
    whole = "all of them" if len(found.judged) == found.possible else f"{len(found.judged)} of them"
    lost = []
    if found.refused:
        lost.append(f"{found.refused} cannot be built ({found.why[0][0]})")
    if found.broken:
        lost.append(f"{found.broken} break what is to be kept")
    if found.stopped:
        lost.append(f"{found.stopped} are stopped by `check`")
    left = f"; {_listed(lost)}" if lost else ""
    return f"{found.possible} designs are possible, {whole} judged{left}."


def _none(found: Searched) -> str:
    rules = _listed([rule.words for rule in found.goals.keep])
    kept = f" keeps {rules}," if rules else ""
    return f"None{kept} can be built, keeps its steps and its belts taut, and passes `check`; let more vary, or allow more."


def _ties(found: Searched) -> list[str]:
    """How much of the front is a choice: of designs that hardly differ the first stands for the others."""
    twins = sum(j is not None for j in found.as_good_as)
    if not twins:
        return []
    whole = len(found.front)
    are = "is" if twins == 1 else "are"
    return [
        f"Of {whole} that none beats {twins} {are} as good as another within {100 * ALIKE:.0f} %: take which you like."
    ]


def _money(found: Searched) -> list[str]:
    """What each further step of money buys along the front; the steps that buy most."""
    if "price" not in found.goals.least or "judged_um" not in found.goals.least:
        return []
    steps = []
    for cheap, dear in bought(found.front):
        known = [one.answer(name) for name in ("price", "judged_um") for one in (cheap, dear)]
        if None in known or not known[2]:
            continue
        less, more, before, after = (float(value or 0.0) for value in known)
        gain = 1 - after / before
        if gain >= ALIKE:
            words = f"{_money_words(more - less, found)} more buy −{100 * gain:.0f} % ringing"
            steps.append((gain, f"{words} ({_changes(found, cheap, dear)})"))
    best = sorted(steps, key=lambda step: -step[0])[:MOST_BOUGHT]
    if not best:
        return []
    return [f"Along the front, from the cheapest on: {'; '.join(step[1] for step in steps if step in best)}."]


def _money_words(value: float, found: Searched) -> str:
    return f"{value:.2f} {currency(found)}".rstrip()


def _changes(found: Searched, one: Design, other: Design) -> str:
    changed = [
        f"{_short(knob.key, knob.levels[b])} {level(knob.levels[b])}"
        for knob, a, b in zip(found.space.knobs, one.genes, other.genes, strict=True)
        if a != b
    ]
    return ", ".join(changed)


def _short(key: str, value: Any) -> str:
    """ "belts" of a part, "height_mm" of a number."""
    return key.partition(".")[0] if isinstance(value, str) else key.rpartition(".")[2]


def _worth(found: Searched) -> list[str]:
    """Single changes of the chosen design that are worth a line: what more would buy, and where money can be saved."""
    out = []
    known = [(s, s.gain_share) for s in found.steps if s.gain_share is not None]
    better = [s for s, gain in known if gain >= ALIKE and not s.stops]
    if better:
        out.append(f"One change more: {'; '.join(step_words(found, s) for s in better[:2])}.")
    saving = [s for s, gain in known if s.price is not None and s.price < 0 and gain > -ALIKE]
    if saving:
        out.append(f"Saved without ringing more: {step_words(found, min(saving, key=lambda s: s.price or 0.0))}.")
    return out


def step_words(found: Searched, step: Step) -> str:
    """ "frame.part slot-2040: −17 % ringing for +21.00 EUR" """
    gain = 0.0 if step.gain_share is None else -100 * step.gain_share
    ringing = "as much ringing" if abs(gain) < 0.5 else f"{gain:+.0f} % ringing".replace("-", "−")
    price = "" if step.price is None else f" for {step.price:+.2f} {currency(found)}".rstrip().replace("-", "−")
    return f"{step.key} {level(step.after)}: {ringing}{price}"


def level(value: Any) -> str:
    """A level as it is written in the file, without quotes."""
    if isinstance(value, bool):
        return str(value).lower()
    return tidy(value) if isinstance(value, int | float) else str(value)


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}" if words else ""

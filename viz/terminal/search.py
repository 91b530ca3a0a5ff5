"""A search on the terminal: the reading, the designs that none other beats, single changes of the first."""

from __future__ import annotations

import sys
from collections.abc import Callable

from beltspring.sim import (
    SEARCH_ANSWERS,
    Searched,
    SearchSofar,
    answer_words,
    level_words,
    search_sentences,
    step_words,
)
from rich.table import Table
from rich.text import Text

from .tables import NONE, Renderable, number, spaced, table

MOST_ROWS, MOST_STEPS = 12, 8


def search_page(found: Searched, out: str | None, scenario: str) -> Renderable:
    """A search on one screen. scenario: what the person called it, for the line to try next."""
    ready = found.first.ready
    assert ready is not None
    design = ready.design
    least = ", ".join(found.goals.least)
    kept = "; ".join(rule.words for rule in found.goals.keep)
    head = Text.assemble(
        (design.title, "bold"),
        f"\n{design.layout}, detail {design.detail}: {ready.plan.description}"
        f"\nleast {least}{f'; kept: {kept}' if kept else ''}; seed {found.seed}",
    )
    notes = _notes(found, scenario)
    written = (
        Text(f"Written to {out}: search.json, table.csv, front.png, report.txt, scenario.toml, winners")
        if out
        else None
    )
    return spaced(head, Text("\n".join(search_sentences(found))), _front(found), _steps(found), notes, written)


def _front(found: Searched) -> Table | None:
    if not found.front:
        return None
    names = [name for name in SEARCH_ANSWERS if any(one.answer(name) is not None for one in found.front)]
    warned = any(one.warnings for one in found.front)
    columns = [
        *(name.replace("_um", " µm").replace("_s", " s").replace("_g", " g").replace("_", " ") for name in names)
    ]
    made = table("None beats", *columns, *(["check warns"] if warned else []), left=1)
    if warned:
        made.columns[-1].no_wrap, made.columns[-1].justify = False, "left"
    for i in _with_twins(found)[:MOST_ROWS]:
        one, twin = found.front[i], found.as_good_as[i]
        cells = [
            NONE if (v := one.answer(name)) is None else f"{v:.2f}" if name == "price" else number(v) for name in names
        ]
        label = f"{'or ' if twin is not None else ''}{found.space.label(one.genes)}"
        more = [", ".join(one.warnings or ())] if warned else []
        made.add_row(label, *cells, *more, style="dim" if twin is not None else None)
    return made


def _with_twins(found: Searched) -> list[int]:
    """Numbers of the front, each followed by those that are as good."""
    twins = found.as_good_as
    return sorted(range(len(twins)), key=lambda i: (i if (j := twins[i]) is None else j, i))


def _steps(found: Searched) -> Table | None:
    told = [s for s in found.steps if s.gain_share is not None][:MOST_STEPS]
    if not told:
        return None
    made = table("One change of the first", "ringing", "price", "check", left=1)
    made.columns[-1].no_wrap, made.columns[-1].justify = False, "left"
    for step in told:
        words = step_words(found, step).partition(": ")[2].partition(" for ")
        stops = f"stop: {', '.join(step.stops)}" if step.stops else ""
        made.add_row(
            f"{step.key} {level_words(step.after)}", words[0].removesuffix(" ringing"), words[2] or NONE, stops
        )
    return made


def _notes(found: Searched, scenario: str) -> Text:
    said = []
    if len(found.front) > MOST_ROWS:
        said.append(f"{len(found.front) - MOST_ROWS} more that none beats: --out or --json lists them.")
    if found.prices is None:
        said.append("--prices FILE adds what each costs; `beltspring order --prices example` shows the form.")
    elif found.prices.whose:
        said.append(found.prices.whose)
    if found.deaths:
        said.append(f"{found.deaths} times workers died; what they held was done again.")
    if found.chosen is not None:
        sets = " ".join(f"--set {key}={level_words(value)}" for key, value in found.chosen.settings.items())
        said.append(f"To see the first: `beltspring run {scenario} {sets}`.")
    said.append(f"Digest {found.digest}: the same search gives the same, with any number of workers.")
    return Text("\n".join(said), style="dim")


def search_teller(quiet: bool) -> Callable[[SearchSofar], None] | None:
    """Says on a terminal's standard error how far a search is, and the best so far; silent in a pipe and with --quiet."""
    if quiet or not sys.stderr.isatty():
        return None

    def tell_how_far(sofar: SearchSofar) -> None:
        best = ""
        if sofar.front:
            told = [answer_words(name, v) for name in ("judged_um", "price") if (v := sofar.front[0].answer(name))]
            best = f"; {len(sofar.front)} that none beats, the first {', '.join(told)}"
        refused = f", {sofar.refused} cannot be built" if sofar.refused else ""
        sys.stderr.write(f"\r\033[K{sofar.judged} of {sofar.of} {sofar.what}{refused}{best}"[:200])
        sys.stderr.flush()

    return tell_how_far

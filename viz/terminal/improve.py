"""What to change on the terminal: the reading, the best changes, and what would gain but is stopped."""

from __future__ import annotations

from collections.abc import Sequence

from beltspring.sim import Improved, Improvement, improvement_sentences
from rich.table import Table
from rich.text import Text

from .tables import NONE, Renderable, number, spaced, table


def improve_page(found: Improvement, scenario: str, out: str | None) -> Renderable:
    """An improvement on one screen. scenario: what the person called it, for the line to try next."""
    ready = found.first.ready
    assert ready is not None
    design = ready.design
    tried = f"{found.tried} changes tried one at a time"
    more = "" if found.draws is None else f", {found.draws} machines each, seed {found.seed}"
    head = Text.assemble(
        (design.title, "bold"), f"\n{design.layout}, detail {design.detail}: {ready.plan.description}\n{tried}{more}"
    )
    tables = [
        _table(found, "Change", found.changes),
        _table(found, "Together", found.together),
        _table(found, "Motion", found.motion),
        _table(found, "Stopped by check", found.stopped),
    ]
    written = Text(f"Written to {out}: improve.json, scenario.toml") if out else None
    return spaced(head, Text("\n".join(improvement_sentences(found))), *tables, _notes(found, scenario), written)


def _table(found: Improvement, name: str, changes: Sequence[Improved]) -> Table | None:
    if not changes:
        return None
    sure, stopped, parts = found.draws is not None, changes == found.stopped, changes != found.motion
    priced = found.priced is not None and parts
    columns = ["ringing", "judged µm", *(["price"] if priced else []), *(["mass g"] if parts else [])]
    columns += ["longer"] if any(one.longer_share > 0.005 for one in changes) else []
    columns += ["how sure"] if sure and not stopped else []
    columns += ["check"] if any(_check(one) for one in changes) else []
    made = table(name, *columns, left=1)
    if "check" in columns:
        made.columns[-1].no_wrap, made.columns[-1].justify = False, "left"
    for one in changes:
        cells = [
            one.words,
            NONE if one.gain_share is None else f"{-100 * one.gain_share:+.0f} %".replace("-", "−"),
            number(one.judged_m * 1e6),
            *([NONE if one.price is None else f"{one.price:+.2f}".replace("-", "−")] if priced else []),
            *([f"{1e3 * one.mass_kg:+.0f}".replace("-", "−") if abs(one.mass_kg) > 5e-4 else "0"] if parts else []),
        ]
        if "longer" in columns:
            cells.append(f"{100 * one.longer_share:.0f} %")
        if "how sure" in columns:
            cells.append(
                NONE if one.sure is None or one.pair is None else f"{one.sure}, {one.pair.less} of {one.pair.of}"
            )
        if "check" in columns:
            cells.append(_check(one))
        made.add_row(*cells)
    return made


def _check(one: Improved) -> str:
    """What `check` says that it did not say of the design as written, and what it no longer stops."""
    still = tuple(rule for rule in one.stops if rule not in one.new_stops)
    told = [("stop", one.new_stops), ("still stopped", still), ("warn", one.new_warnings), ("ends", one.ended)]
    return "\n".join(f"{what}: {', '.join(rules)}" for what, rules in told if rules)


def _notes(found: Improvement, scenario: str) -> Text:
    said = []
    if found.priced is not None:
        said.append(
            f"{NONE} in price: what differs has no price in your file, or is on no order list."
            if any(one.price is None for one in found.changes)
            else ""
        )
    elif found.changes:
        said.append("--prices FILE adds what each costs; `beltspring order --prices example` shows the form.")
    if found.draws is None and found.changes:
        said.append("--spread says how sure each is, machine by machine.")
    dropped = [f"{one.words}: {drop}" for one in found.changes for drop in one.remarks]
    said += [f"{words}." for words in dropped[:2]]
    if len(dropped) > 2:
        said.append(f"{len(dropped) - 2} more drop values written for the part that goes; the JSON lists them.")
    if found.changes:
        keys = " ".join(f"--set {key}={value}" for key, value in found.changes[0].settings.items())
        if len(found.changes[0].settings) <= 2:
            said.append(f"To see the first: `beltspring run {scenario} {keys}`.")
    return Text("\n".join(s for s in said if s), style="dim")

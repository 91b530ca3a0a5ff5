"""The order list as a person reads it, as CSV and as JSON."""

from __future__ import annotations

import csv
import io
from itertools import groupby
from typing import Any

from beltspring.sim import Bars, Line, Order, Spent
from rich.console import Group
from rich.text import Text

from ..files.plain import clean, six
from .tables import number, table

COLUMNS = ("group", "name", "what", "count", "length_mm", "mass_g", "price", "note")


def order_entry(order: Order, spent: Spent | None = None) -> dict[str, Any]:
    """`order --json`; "budget" is there where the scenario has one."""
    entry: dict[str, Any] = clean(
        {
            "title": order.title,
            "currency": order.currency or None,
            "prices_invented": order.invented,
            "items": [_item(line) for line in order.lines],
            "bars": [_bars(bars) for bars in order.bars],
            "total_mass_g": six(order.total_kg * 1e3),
            "printed_mass_g": six(order.printed_kg * 1e3),
            "total_price": None if order.price is None else round(order.price, 2),
            "without_price": list(order.unpriced),
            "notices": list(order.notices),
            "cautions": list(order.cautions),
        }
    )
    if spent is not None:
        entry["budget"] = clean(
            {
                "money": spent.money,
                "price": round(spent.price, 2),
                "over": round(spent.over, 2),
                "dearest": [{"name": d.name, "price": round(d.price, 2)} for d in spent.dearest],
                "cheaper": [
                    {
                        "set": {c.key: c.part},
                        "saves": round(c.saves, 2),
                        "new_stops": list(c.new_stops),
                        "more_ringing_share": None if c.more_share is None else six(c.more_share),
                    }
                    for c in spent.cheaper
                ],
            }
        )
    return entry


def spent_sentences(spent: Spent) -> list[str]:
    """What to say of a budget."""
    money, price = f"{spent.money:g} {spent.currency}", f"{spent.price:.2f} {spent.currency}"
    part = ", and what has no price comes on top" if spent.unpriced else ""
    if spent.over <= 0:
        return [f"Budget {money}: {-spent.over:.2f} {spent.currency} are left{part}."]
    dear = ", ".join(f"{d.name} {d.price:.2f}" for d in spent.dearest)
    lines = [f"Budget {money}: it costs {price}, {spent.over:.2f} {spent.currency} too much{part}. Dearest: {dear}."]
    for cheaper in spent.cheaper:
        words = f"{cheaper.key} = {cheaper.part} saves {cheaper.saves:.2f} {spent.currency}"
        if cheaper.new_stops:
            words += f", but `check` then stops it: {', '.join(cheaper.new_stops)}"
        elif cheaper.more_share is not None:
            words += f", and it rings {share_words(cheaper.more_share)}"
        lines.append(words + ".")
    if not spent.cheaper:
        lines.append("No other part of the catalogue saves a hundredth of it.")
    elif sum(c.saves for c in spent.cheaper if not c.new_stops) < spent.over:
        lines.append("These alone do not bring it within the budget: a smaller reach or frame would.")
    return lines


def share_words(more: float) -> str:
    """ "12 % more", "3 % less", "as much" of the judged ringing."""
    percent = round(100 * abs(more))
    return "as much" if percent == 0 else f"{percent} % {'more' if more > 0 else 'less'}"


def _item(line: Line) -> dict[str, Any]:
    item = line.item
    return {
        "group": item.group,
        "name": item.name,
        "what": item.words,
        "count": item.count,
        "length_mm": None if item.length_m is None else six(item.length_m * 1e3),
        "mass_g": None if item.mass_kg is None else six(item.mass_kg * 1e3),
        "price": None if line.price is None else round(line.price, 2),
        "note": item.note,
    }


def _bars(bars: Bars) -> dict[str, Any]:
    plan = bars.cutting
    return {
        "name": bars.name,
        "saw_mm": six(plan.saw_m * 1e3),
        "bars": [
            {
                "length_mm": six(bar.length_m * 1e3),
                "pieces_mm": [six(p * 1e3) for p in bar.pieces_m],
                "offcut_mm": six(bar.offcut_m * 1e3),
            }
            for bar in plan.bars
        ],
        "bought_mm": six(plan.bought_m * 1e3),
        "offcut_mm": six(sum(bar.offcut_m for bar in plan.bars) * 1e3),
        "price": None if bars.price is None else round(bars.price, 2),
    }


def order_csv(order: Order) -> str:
    """`order --csv`: one row an item, then one row a kind of bar (group "bars"), then the sums."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for line in order.lines:
        entry = _item(line)
        writer.writerow(["" if entry[c] is None else entry[c] for c in COLUMNS])
    for bars in order.bars:
        entry = _bars(bars)
        price = "" if entry["price"] is None else entry["price"]
        cuts = "; ".join(
            f"{b['length_mm']:g}: {' + '.join(f'{p:g}' for p in b['pieces_mm'])}, offcut {b['offcut_mm']:g}"
            for b in entry["bars"]
        )
        writer.writerow(
            ["bars", bars.name, "bars to buy and cut", len(entry["bars"]), entry["bought_mm"], "", price, cuts]
        )
    total = "" if order.price is None else round(order.price, 2)
    note = f"{order.currency}{', invented prices' if order.invented else ''}" if order.currency else ""
    writer.writerow(["total", "", "", "", "", six(order.total_kg * 1e3), total, note])
    return out.getvalue()


def order_page(order: Order, out: str | None, spent: Spent | None = None) -> Any:
    """The order list on the terminal; names in brackets are what prices go by."""
    priced = order.price is not None
    parts: list[Any] = [Text(order.title, style="bold")]
    if order.invented:
        parts.append(Text("Prices are INVENTED, to show the form; write your own price file.", style="bold yellow"))
    heads = ["what", "count", "mm", "g", *([order.currency] if priced else [])]
    for group, lines in groupby(order.lines, key=lambda line: line.item.group):
        parts += [Text(), Text(group.capitalize(), style="bold")]
        made = table(*heads)
        made.columns[0].min_width = 34
        made.columns[0].max_width = 44
        for line in lines:
            item = line.item
            words = f"{item.words} [{item.name}]" if item.name != item.words else item.words
            words += f" ({item.note})" if item.note else ""
            cells: list[Any] = [
                Text(words),
                str(item.count),
                "" if item.length_m is None else f"{item.length_m * 1e3:.1f}".removesuffix(".0"),
                "" if item.mass_kg is None else number(item.mass_kg * 1e3),
            ]
            if priced:
                cells.append("in bars" if line.in_bars else "-" if line.price is None else f"{line.price:.2f}")
            made.add_row(*cells)
        parts.append(made)
    if order.bars:
        saw = order.bars[0].cutting.saw_m * 1e3
        parts += [Text(), Text(f"Cut list, saw {saw:g} mm wide", style="bold"), _bars_table(order)]
    total = f"Total mass {order.total_kg:.2f} kg, of it printed {order.printed_kg:.2f} kg."
    if order.price is not None:
        total += f" Total price {order.price:.2f} {order.currency}"
        total += (
            f", without {', '.join(order.unpriced)}, which the price file does not have." if order.unpriced else "."
        )
    parts += [Text(), Text(total, style="bold")]
    if spent is not None:
        parts += [Text(), *(Text(sentence) for sentence in spent_sentences(spent))]
    parts += [Text(f"Note: {notice}.".replace("?.", "?")) for notice in order.notices]
    parts += [Text(), Text("Caution", style="bold"), *(Text(f"  {caution}") for caution in order.cautions)]
    if out:
        parts += [Text(f"Written to {out}: order.txt, order.csv, order.json, build.svg, scenario.toml")]
    return Group(*parts)


def _bars_table(order: Order) -> Any:
    priced = order.price is not None
    heads = ["bar", "mm", "cut into (mm)", "offcut mm", *([order.currency] if priced else [])]
    made = table(*heads)
    made.columns[2].justify = "left"
    made.columns[2].no_wrap = False
    for bars in order.bars:
        for k, bar in enumerate(bars.cutting.bars):
            cells = [
                bars.name if k == 0 else "",
                f"{bar.length_m * 1e3:g}",
                " + ".join(f"{p * 1e3:.1f}".removesuffix(".0") for p in bar.pieces_m),
                f"{bar.offcut_m * 1e3:.1f}".removesuffix(".0"),
            ]
            if priced:
                cells.append("" if k else "-" if bars.price is None else f"{bars.price:.2f}")
            made.add_row(*cells)
    return made

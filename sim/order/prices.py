"""A person's own price file: TOML with a currency and prices by the names the order list uses.

    currency = "EUR"
    saw_mm = 3.0                       # width of a cut
    [each]                             # price of one
    "motor-17-40" = 14.0
    [per_m]                            # price of a metre
    "belt-2mm-6-glass" = 2.4
    [per_kg]
    printed = 22.0
    [stock]                            # bars sold: length in mm = price of that bar
    "slot-2020" = { 1000 = 7.9, 2000 = 14.0 }
    [extra]                            # what the machine needs and the list does not know
    controller = 38.0
    fan = { price = 4.0, count = 2 }

No price comes with the program; the example beside this file is invented and says so.
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

from ..errors import InputError
from ..files import comma_words, name_of, parse_toml, read_text

EXAMPLE, NEW = "example", "new"
SAW_M = 0.003  # common practice, no source: a circular saw for aluminium
TABLES = ("each", "per_m", "per_kg", "stock", "extra")
MOST_EXTRA = 200
INVENTED_WORDS = "The prices are the example's, invented; write your own."
#: What every machine needs and no part here describes; a price file's [extra] may have it.
EXTRA_USUAL = ("controller", "drivers", "wiring", "supply", "hot end", "heater", "switches")
LARGEST_BYTES = 1_000_000


@dataclass(frozen=True)
class Prices:
    """label: the file's name for messages.  each, per_m, per_kg: by name.  stock: by name, bar length m -> price of the bar.

    extra: by name, (price of one, pieces) of what no machine here has on its list.
    """

    label: str
    currency: str
    saw_m: float
    each: dict[str, float] = field(default_factory=dict)
    per_m: dict[str, float] = field(default_factory=dict)
    per_kg: dict[str, float] = field(default_factory=dict)
    stock: dict[str, dict[float, float]] = field(default_factory=dict)
    extra: dict[str, tuple[float, int]] = field(default_factory=dict)
    invented: bool = False

    @property
    def whose(self) -> str:
        """That the prices are nobody's, where they are the example's; else nothing."""
        return INVENTED_WORDS if self.invented else ""

    def names(self) -> list[str]:
        """Every name that has a price."""
        return list(dict.fromkeys([*self.each, *self.per_m, *self.per_kg, *self.stock]))


def load_prices(source: str | Path) -> Prices:
    """A price file, or the invented example by the name "example". Raises InputError naming file, key, value and remedy."""
    if source == EXAMPLE and not Path(source).exists():
        text = resources.files(__package__).joinpath("prices-example.toml").read_text(encoding="utf-8")
        return read_prices(text, "the example's prices", invented=True)
    path = Path(source)
    try:
        text = read_text(path, "a price list", LARGEST_BYTES)
    except InputError as error:
        hint = f'or give "{EXAMPLE}" for invented prices; `beltspring order MACHINE --prices {NEW}` writes the form'
        raise InputError(f"{error}; {hint}") from None
    return read_prices(text, name_of(path.name, 60))


def read_prices(text: str, label: str, invented: bool = False) -> Prices:
    """Prices from TOML text. Raises InputError."""
    tree = parse_toml(text, label, "name = price")
    known = ("currency", "saw_mm", *TABLES)
    for key in tree:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            hint = f"did you mean {near[0]}?" if near else f"a price file has {', '.join(known)}"
            raise InputError(f"{label}: unknown key {key!r}; {hint}")
    currency = tree.get("currency", "")
    if not isinstance(currency, str) or not 1 <= len(currency) <= 12:
        raise InputError(f'{label} currency = {currency!r}: must be text of 1 to 12 characters, such as "EUR"')
    saw_mm = _number(tree.get("saw_mm", SAW_M * 1e3), f"{label} saw_mm", 0, 20)
    flat = {name: _table(tree, name, label) for name in TABLES[:3]}
    stock: dict[str, dict[float, float]] = {}
    for name, bars in _dict(tree.get("stock", {}), f"{label} [stock]").items():
        at = f"{label} [stock] {name}"
        stock[name] = {}
        for length, price in _dict(bars, at).items():
            try:
                length_mm = float(length)
            except ValueError:
                raise InputError(f"{at} {length} = {price!r}: the length must be a number of mm") from None
            stock[name][_number(length_mm, f"{at} length", 10, 20_000) / 1e3] = _number(price, f"{at} {length}", 0, 1e6)
        if not stock[name]:
            raise InputError(f"{at}: no length is given; write for example {{ 1000 = 7.9, 2000 = 14.0 }}")
    extra = _extra(tree, label)
    return Prices(label, currency, saw_mm / 1e3, flat["each"], flat["per_m"], flat["per_kg"], stock, extra, invented)


def _extra(tree: dict[str, Any], label: str) -> dict[str, tuple[float, int]]:
    """What is bought beside the list: a price, or a table with price and count."""
    found: dict[str, tuple[float, int]] = {}
    entries = _dict(tree.get("extra", {}), f"{label} [extra]")
    if len(entries) > MOST_EXTRA:
        raise InputError(f"{label} [extra]: {len(entries)} things, and {MOST_EXTRA} are the most")
    for name, value in entries.items():
        at = f"{label} [extra] {name_of(name, 60)}"
        if not name.isprintable() or not 0 < len(name) <= 100:
            raise InputError(f"{at}: a name is 1 to 100 characters on one line")
        if not isinstance(value, dict):
            found[name] = (_number(value, at, 0, 1e6), 1)
            continue
        other = [key for key in value if key not in ("price", "count")]
        if other or "price" not in value:
            raise InputError(f"{at}: write a price, or {{ price = 4.0, count = 2 }}")
        count = value.get("count", 1)
        if not isinstance(count, int) or isinstance(count, bool) or not 1 <= count <= 10_000:
            raise InputError(f"{at} count = {count!r}: must be a whole number, 1 to 10000")
        found[name] = (_number(value["price"], f"{at} price", 0, 1e6), count)
    return found


def _dict(value: Any, at: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise InputError(f"{at} = {value!r}: must be a table")
    return value


def _table(tree: dict[str, Any], name: str, label: str) -> dict[str, float]:
    entries = _dict(tree.get(name, {}), f"{label} [{name}]").items()
    return {key: _number(value, f"{label} [{name}] {key}", 0, 1e6) for key, value in entries}


def _number(value: Any, at: str, low: float, high: float) -> float:
    good = isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high
    comma = comma_words(value) if isinstance(value, str) else ""
    if comma:
        raise InputError(f"{at} = {value!r}: {comma}")
    if not good:
        raise InputError(f"{at} = {value!r}: must be a number, {low:g} to {high:g}")
    return float(value)


def misspelt(prices: Prices, wanted: Iterable[str], known: Collection[str]) -> list[str]:
    """Sentences about names of the price file that nothing goes by. wanted: names on the list.  known: every name there is."""
    names, out = list(wanted), []
    priced = set(prices.names())
    unpriced = [n for n in names if n not in priced]
    for name in prices.names():
        if name in names or name in known:
            continue
        near = difflib.get_close_matches(name, unpriced, n=1, cutoff=0.85)
        if near:
            out.append(f"{prices.label}: {name!r} is not on this list; did you mean {near[0]!r}?")
        else:
            close = difflib.get_close_matches(name, known, n=1, cutoff=0.7)
            hint = f"did you mean {close[0]!r}?" if close else "what is not a part here goes under [extra]"
            out.append(f"{prices.label}: nothing is ever called {name_of(name, 60)!r} here; {hint}")
    return out

"""Words to the terminal: readable in 80 columns, in a pipe, without colour, and where only ASCII can be shown."""

from __future__ import annotations

import codecs
import os
import re
import sys
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

from beltspring.sim import printable
from rich.console import Console, Group
from rich.measure import Measurement
from rich.padding import Padding
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

if TYPE_CHECKING:
    from rich.progress import Progress

# What we print, in letters every terminal has. Box lines are rich's own affair: it knows the terminal's encoding.
PLAIN = {
    "µ": "u", "μ": "u", "ζ": "zeta", "Δ": "d", "²": "2", "³": "3", "×": "x", "·": "-", "−": "-", "–": "-", "—": "-",
    "°": " deg", "≤": "<=", "≥": ">=", "→": "->", "…": "...", "\u202f": " ", "\u00a0": " ", "‘": "'", "’": "'",
    "“": '"', "”": '"', "━": "-", "─": "-", "│": "|",
}  # fmt: skip


def settle_streams() -> None:
    """Make both streams safe: closed ones swallow, and letters a terminal lacks are written in plain ones."""
    codecs.register_error("beltspring.plain", _plain)
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="beltspring.plain")


def _plain(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    text = error.object[error.start : error.end]
    return "".join(PLAIN.get(letter, "?") for letter in text), error.end


def let_go_of_output() -> None:
    """Point standard output nowhere: it cannot be written, and Python would complain once more when it flushes at exit."""
    try:
        sys.stdout.flush()
    except (OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def tell(message: str) -> None:
    """One message on standard error; nothing in it can steer the terminal."""
    print(printable(message), file=sys.stderr)


def wrote(place: str | None, *files: str) -> None:
    """Say what --out left and where; nothing without it."""
    if place:
        show(f"Written to {printable(place)}: {', '.join(files)}")


#: Columns of words may wrap, but not below this many letters: two letters a line cannot be read.
WRAP_NOT_BELOW = 16
WIDEST = 110
#: Below this many columns a table that does not fit is told row by row.
NARROW = 70


#: Stands for a blank at which a line must not break: between a number and its unit.
GLUE = "\ue000"
UNITS = re.compile(r"(?<=[\d]) (?=(?:%|µm|mm|ms|s|Hz|N|g|kg|mNm|full steps|steps)(?![A-Za-z]))")


def held(words: str) -> str:
    """Words in which no number is parted from its unit at the end of a line."""
    return UNITS.sub(GLUE, words)


class _Terminal(Console):
    """A console that leaves it to the command line what a reader who went away means; rich would end with code 1."""

    def on_broken_pipe(self) -> None:
        """Called by rich while the error is under way."""
        raise BrokenPipeError

    def render(self, renderable: Any, options: Any = None) -> Iterator[Segment]:
        """What rich draws, with everything in its words that could steer the terminal escaped."""
        for segment in super().render(renderable, options):
            if segment.control:
                yield segment
            else:
                yield Segment(printable(segment.text.replace(GLUE, " ")), segment.style)


def show(*renderables: Any) -> None:
    """Print rich renderables on standard output, as wide as the terminal and at most 110 columns.

    Words wrap. A table whose numbers need a little more room than the terminal has gets it: the terminal folds the line,
    where rich would cut digits off without a word. On a narrow terminal its rows stand one below the other.
    """
    console = _Terminal(highlight=False, soft_wrap=False, emoji=False)
    width = min(console.width, WIDEST)
    for item in _single(renderables):
        if isinstance(item, Text):
            item.plain = held(item.plain)
        inner = item.renderable if isinstance(item, Padding) else item
        aside = item.left + item.right if isinstance(item, Padding) else 0
        needed = _hold_columns(inner, console) + aside if isinstance(inner, Table) else 0
        if isinstance(inner, Table) and needed > width < NARROW:
            console.width = width
            console.print(_stacked(inner))
            continue
        console.width = max(width, needed)
        console.print(item)


def _stacked(table: Table) -> Text:
    """A table as lines: the first cell of each row, and below it every other one behind its heading."""
    out = Text()
    cells = [list(column.cells) for column in table.columns]
    for row in zip(*cells, strict=True):
        for number, (column, cell) in enumerate(zip(table.columns, row, strict=True)):
            words = cell if isinstance(cell, Text) else Text.from_markup(str(cell))
            heading = str(column.header)
            if not words.plain.strip():
                continue
            before = "" if number == 0 else f"  {heading}: " if heading else "  "
            out.append(before, style="dim").append_text(words).append("\n")
    out.rstrip()
    return out


def _single(renderables: Iterable[Any]) -> Iterator[Any]:
    """Renderables one by one, groups taken apart."""
    for item in renderables:
        if isinstance(item, Group):
            yield from _single(item.renderables)
        else:
            yield item


def _hold_columns(table: Table, console: Console) -> int:
    """Give every column a width below which it must not go; returns what the table needs, in letters."""
    unbound = console.options.update(width=10_000)
    for column in table.columns:
        found = [Measurement.get(console, unbound, cell) for cell in (column.header, *column.cells)]
        least, most = max(m.minimum for m in found), max(m.maximum for m in found)
        if column.width is None:
            held = most if column.no_wrap else max(least, min(most, WRAP_NOT_BELOW))
            column.min_width = max(held, column.min_width or 0)
    # rich leaves out the padding of the edges here and takes it off again when it draws.
    return table.__rich_measure__(console, unbound).minimum + 2


class Watcher:
    """A progress line on standard error for runs that take a while; silent in a pipe and with --quiet."""

    def __init__(self, quiet: bool) -> None:
        self._on = not quiet and sys.stderr.isatty()
        self._bar: Progress | None = None
        self._task: Any = None

    def __enter__(self) -> Watcher:
        return self

    def __call__(self, done_s: float, whole_s: float) -> None:
        """Simulated seconds done and in all; the line appears only for moves of more than ten simulated seconds."""
        if not self._on or whole_s < 10:
            return
        if self._bar is None:
            from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

            columns = (
                TextColumn("simulated {task.completed:.0f} of {task.total:.0f} s"),
                BarColumn(),
                TimeRemainingColumn(),
            )
            self._bar = Progress(*columns, console=Console(stderr=True), transient=True)
            self._task = self._bar.add_task("", total=whole_s)
            self._bar.start()
        self._bar.update(self._task, completed=done_s)

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()

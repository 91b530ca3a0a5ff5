"""Words to the terminal: readable in 80 columns, in a pipe, without colour, and where only ASCII can be shown."""

from __future__ import annotations

import codecs
import os
import sys
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

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
    """One message on standard error."""
    print(message, file=sys.stderr)


def show(*renderables: Any) -> None:
    """Print rich renderables on standard output, as wide as the terminal and at most 110 columns."""
    console = Console(highlight=False, soft_wrap=False)
    if console.width > 110:
        console.width = 110
    for item in renderables:
        console.print(item)


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

"""What must hold of a place of results, whatever happened to the runs that wrote there."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from beltspring.viz.cli import main
from beltspring.viz.files.folder import OutFolder

FILES = ("trace.csv", "summary.json", "picture.png", "scenario.toml")


def write(place: Path, mark: str) -> Callable[[], int]:
    """Work that fills a results folder quickly: every file holds the same mark."""

    def work() -> int:
        with OutFolder(place, replace=True) as folder:
            for name in FILES:
                (folder / name).write_text(f"{mark}\n" * 100)
        return 0

    return work


def run(place: Path, size_mm: float) -> Callable[[], int]:
    """Work that is a whole `run`."""
    arguments = [
        "run",
        "spring-mass",
        "--set",
        f"move.size_mm={size_mm:g}",
        "--out",
        str(place),
        "--replace",
        "--quiet",
    ]
    return lambda: main(arguments)


def mark(place: Path) -> str | None:
    """The mark of the whole results at a place, None where there are none; what is half done fails here."""
    if not place.exists():
        return None
    assert sorted(path.name for path in place.iterdir()) == sorted(FILES), "a place holds half of its files"
    texts = {(place / name).read_text() for name in FILES}
    assert len(texts) == 1, "a place holds files of two runs"
    (text,) = texts
    assert len(text.splitlines()) == 100, "a file is cut short"
    return text.splitlines()[0]


def hidden(place: Path) -> list[str]:
    """Names of hidden folders beside a place."""
    return sorted(path.name for path in place.parent.iterdir() if path.name.startswith("."))

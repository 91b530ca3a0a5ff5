"""The page of the model's equations, for whoever wants to read what is computed."""

from __future__ import annotations

from importlib import resources

from ..errors import InputError


def physics(about: str = "") -> str:
    """PHYSICS.md, or only its sections that hold a word. Raises InputError where none does."""
    page = resources.files(__package__).joinpath("PHYSICS.md").read_text(encoding="utf-8")
    if not about.strip():
        return page
    sections = [f"## {part}" for part in page.split("\n## ")[1:]]
    found = [section for section in sections if about.strip().lower() in section.lower()]
    if not found:
        heads = "; ".join(section.splitlines()[0].removeprefix("## ") for section in sections)
        raise InputError(f"{about!r} stands nowhere on the page of the physics; its sections are: {heads}")
    return "\n".join(found)

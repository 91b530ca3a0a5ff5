"""The sheet of what to measure as JSON, and the files that go with it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from beltspring.sim import MeasuringSheet, limits_words, measured_form, program_text, sheet_text

from .plain import clean, six, write_json

if TYPE_CHECKING:
    from .folder import Folder


def sheet_entry(sheet: MeasuringSheet) -> dict[str, Any]:
    """A sheet. before, after: how far a number may be off for 19 of 20 machines, as a share of it."""

    def leaves(found: Any) -> list[dict[str, Any]]:
        return [{"key": one.key, "before": six(one.before), "after": six(one.after)} for one in found]

    entry: dict[str, Any] = clean(
        {
            "title": sheet.title,
            "layout": sheet.layout,
            "detail": sheet.detail,
            "measure": [
                {
                    "kind": item.kind,
                    "name": item.name,
                    "tool": item.tool,
                    "minutes": item.minutes,
                    "how": item.how,
                    "leaves": leaves(item.leaves),
                }
                for item in sheet.items
            ],
            "together": leaves(sheet.all_of_it),
            "moves": [
                {"name": m.name, "set": m.set, "limits": limits_words(m), "use": "check" if m.checks else "fit"}
                for m in sheet.moves
            ],
        }
    )
    return entry


def write_sheet(sheet: MeasuringSheet, folder: Folder) -> None:
    """The sheet, the measured file to fill in, and the moves as programs."""
    write_json(sheet_entry(sheet), folder / "measure.json")
    (folder / "sheet.txt").write_text(sheet_text(sheet), encoding="utf-8")
    (folder / "measured.toml").write_text(measured_form(sheet), encoding="utf-8")
    for move in sheet.moves:
        (folder / f"{move.name}.gcode").write_text(program_text(move), encoding="utf-8")

"""The schema as an index: which tables and keys there are, by their path in the file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from types import MappingProxyType, UnionType
from typing import Any, Union, get_args, get_origin

from . import schema
from .fields import Key, key_of

Path = tuple[str, ...]

# Tables that hold one sub-table for each drive, with that sub-table's keys.
EACH: dict[str, type[schema.Table]] = {"belts": schema.BeltEach, "motors": schema.MotorEach}


def _table_in(annotation: Any) -> type[schema.Table] | None:
    """The table type inside an annotation such as `Shaper | None`."""
    if isinstance(annotation, type) and issubclass(annotation, schema.Table):
        return annotation
    if get_origin(annotation) in (Union, UnionType):
        return next((found for arg in get_args(annotation) if (found := _table_in(arg))), None)
    return None


@cache
def tables() -> dict[Path, type[schema.Table]]:
    """Every table of the file by path, the file itself as (), in file order; sub-tables of drives left out."""
    found: dict[Path, type[schema.Table]] = {}

    def visit(path: Path, table: type[schema.Table]) -> None:
        found[path] = table
        for name, field in table.model_fields.items():
            inner = _table_in(field.annotation)
            if inner is not None:
                visit((*path, name), inner)

    visit((), schema.ScenarioFile)
    return found


def table_at(path: Path) -> type[schema.Table] | None:
    """The table type at a path, [belts.<anything>] included; None when no table has that path."""
    if len(path) == 2 and path[0] in EACH and path[1] not in EACH[path[0]].model_fields:
        return EACH[path[0]]
    return tables().get(path)


@cache
def keys_of(path: Path) -> Mapping[str, Key]:
    """The keys of the table at `path`, in file order; sub-tables are not keys. Empty when there is no such table."""
    table = table_at(path)
    if table is None:
        return {}
    found = {name: key for name, field in table.model_fields.items() if (key := key_of(field))}
    return MappingProxyType(found)


def key_at(path: Path) -> Key | None:
    """What is known of the key at a path; None for a table or for what the schema does not have."""
    return keys_of(path[:-1]).get(path[-1]) if path else None


def all_keys() -> Iterator[tuple[Path, Key]]:
    """Every key of the file with its path, in file order; keys of drives' sub-tables left out."""
    for path in tables():
        for name, key in keys_of(path).items():
            yield (*path, name), key


def leaves(tree: dict[str, Any], above: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Every value of a tree of tables with its path; an empty table counts as a value."""
    for name, value in tree.items():
        if isinstance(value, dict) and value:
            yield from leaves(value, (*above, name))
        else:
            yield (*above, name), value


def dotted(path: Path) -> str:
    """A path as it is written after --set."""
    return ".".join(path)

"""Faults that can be put into a module: one operator, comparison, constant or statement changed. Standard library only."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass

SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult, ast.MatMult: ast.Mult,
    ast.FloorDiv: ast.Div, ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.And: ast.Or,
    ast.Or: ast.And, ast.UAdd: ast.USub, ast.USub: ast.UAdd,
}  # fmt: skip
#: Calls whose result is thrown away may be dropped, and what sets a name; nothing that only declares.
DROPPED = (ast.Assign, ast.AugAssign, ast.Expr, ast.Raise)
FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)


@dataclass(frozen=True)
class Fault:
    """number: of the fault within its module.  line: where.  words: what is changed into what.
    lines: first and last of the statement it is in (of the head only, where that has a body).
    names: what the statement gives a name to, where it is run as the module is imported, else empty."""

    number: int
    line: int
    words: str
    lines: tuple[int, int]
    names: tuple[str, ...]


def _docstrings(tree: ast.AST) -> set[ast.AST]:
    found: set[ast.AST] = set()
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list):
            found |= {x for x in body if isinstance(x, ast.Expr) and isinstance(x.value, ast.Constant)}
    return found


def _places(tree: ast.Module) -> Iterator[tuple[ast.AST, str, int]]:
    """(node, field, index) of everything that can be changed; -1 where the field is no list."""
    said = _docstrings(tree)
    skipped: set[ast.AST] = set()
    for node in ast.walk(tree):
        if node in said or node in skipped:
            skipped |= set(ast.iter_child_nodes(node))
            continue
        if isinstance(node, ast.arg | ast.AnnAssign | ast.FunctionDef) and getattr(node, "annotation", None):
            skipped.add(node.annotation)  # type: ignore[union-attr]
        if isinstance(node, ast.ClassDef):
            skipped |= set(node.decorator_list)  # what a record may be done with; a test of the rooms holds it
        if isinstance(node, ast.BinOp | ast.UnaryOp | ast.BoolOp | ast.AugAssign) and type(node.op) in SWAPS:
            yield node, "op", -1
        if isinstance(node, ast.Compare):
            for i, op in enumerate(node.ops):
                if type(op) in SWAPS:
                    yield node, "ops", i
        if isinstance(node, ast.Constant) and isinstance(node.value, bool | int | float):
            yield node, "value", -1
        for name in ("body", "orelse"):
            rows = getattr(node, name, None)
            if isinstance(rows, list) and not isinstance(node, ast.Module | ast.ClassDef):
                for i, row in enumerate(rows):
                    if isinstance(row, DROPPED) and row not in said:
                        yield node, name, i


def _where(tree: ast.Module) -> dict[ast.AST, tuple[tuple[int, int], tuple[str, ...]]]:
    """For every node: lines of the innermost statement around it, and names where that is run by the import."""
    found: dict[ast.AST, tuple[tuple[int, int], tuple[str, ...]]] = {}

    def walk(node: ast.AST, lines: tuple[int, int], names: tuple[str, ...], running: bool) -> None:
        if isinstance(node, ast.stmt):
            body = getattr(node, "body", None)
            last = body[0].lineno - 1 if isinstance(body, list) and body else node.end_lineno
            lines = (node.lineno, max(last or 0, node.lineno))
            if not running:
                names = names or tuple(_named(node))
        found[node] = lines, () if running else names
        for field, value in ast.iter_fields(node):
            # A function's body is run when it is called; its defaults and decorators are run by the import.
            inside = running or (isinstance(node, (*FUNCTIONS, ast.Lambda)) and field == "body")
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST):
                    walk(child, lines, names, inside)

    for row in tree.body:
        walk(row, (1, 1), (), False)
    return found


def _named(row: ast.AST) -> Iterator[str]:
    if isinstance(row, (*FUNCTIONS, ast.ClassDef)):
        yield row.name
    elif isinstance(row, ast.Assign | ast.AnnAssign | ast.AugAssign):
        targets = row.targets if isinstance(row, ast.Assign) else [row.target]
        yield from (x.id for target in targets for x in ast.walk(target) if isinstance(x, ast.Name))


def faults(text: str) -> list[Fault]:
    """Every fault of a module's text."""
    tree = ast.parse(text)
    where = _where(tree)
    out = []
    for number, (node, field, index) in enumerate(_places(tree)):
        if field in ("body", "orelse"):
            row = getattr(node, field)[index]
            out.append(Fault(number, row.lineno, f"dropped: {ast.unparse(row).splitlines()[0][:90]}", *where[row]))
            continue
        before = ast.unparse(node)[:70]
        _change(node, field, index)
        words = f"{before}  ->  {ast.unparse(node)[:70]}"
        out.append(Fault(number, getattr(node, "lineno", 0), words, *where[node]))
        _change_back(node, field, index)
    return out


def _change(node: ast.AST, field: str, index: int) -> None:
    if field == "value":
        node.kept = node.value  # type: ignore[attr-defined]
        old = node.value  # type: ignore[attr-defined]
        node.value = (not old) if isinstance(old, bool) else old + 1 if isinstance(old, int) else (old * 1.1 or 1.0)  # type: ignore[attr-defined]
        return
    if field in ("body", "orelse"):
        row = getattr(node, field)[index]
        getattr(node, field)[index] = ast.copy_location(ast.Pass(), row)
        return
    if index < 0:
        node.kept = getattr(node, field)  # type: ignore[attr-defined]
        setattr(node, field, SWAPS[type(node.kept)]())  # type: ignore[attr-defined]
    else:
        rows = getattr(node, field)
        node.kept = rows[index]  # type: ignore[attr-defined]
        rows[index] = SWAPS[type(rows[index])]()


def _change_back(node: ast.AST, field: str, index: int) -> None:
    if index < 0:
        setattr(node, field, node.kept)  # type: ignore[attr-defined]
    else:
        getattr(node, field)[index] = node.kept  # type: ignore[attr-defined]


def with_fault(text: str, number: int) -> ast.Module:
    """The module's tree with one fault in it, every line where it was."""
    tree = ast.parse(text)
    for i, (node, field, index) in enumerate(_places(tree)):
        if i == number:
            _change(node, field, index)
            return ast.fix_missing_locations(tree)
    raise IndexError(number)

"""Straight-line arithmetic, printed as text, as machine code inside a numba function.

numba's front end takes milliseconds a statement: it finds out the type of every name and looks up every operator. A
block of printed force arithmetic has hundreds of statements, all of them on floats, so it is handed to the compiler
directly: parsed by Python's own `ast`, one instruction an operator, into the function that calls it.

    block = straight("d0 = X[0] - P[0]\\nF[0] = -P[1] * d0\\n", ("P", "X", "F"))

makes `block(P, X, F)`, callable from compiled code with float64 arrays of one dimension. Statements are assignments to
a name, set once, or to an element of an array; the expressions know + - * /, max, min, abs, floor, sqrt. Indices are numbers.
Elements are read once: a block must not read what it has written. Besides, `a0, a1, *_ = matrix(P, start, rows, f0, f1, ...)`
multiplies by a matrix of so many rows kept in P column by column, each column filled up to a multiple of eight entries.
With numba switched off the block is plain Python.

What several elements have in common is worked out at once: `X[0:4]` is four elements, `pack(a, b)` makes two numbers one
such vector, arithmetic on vectors goes entry by entry (a plain number stands for all entries), `a, b, *_ = v` takes one
apart, and `Y[0:4] = v` and `Y[0:16] = matrix(...)` put one down. Vectors have 2, 4 or 8 entries, a product with a matrix
eight for every eight rows begun.

With `lanes` = 8 every element is eight numbers, one of each of eight machines that are worked out together: element i stands
in entries 8 i to 8 i + 7 of its array. There are no vectors then.
"""

from __future__ import annotations

import ast
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from llvmlite import ir
from numba import config, types
from numba.core import cgutils
from numba.extending import intrinsic

from .printer import LANES, filled

DOUBLE = ir.DoubleType()
#: An array's index is printed as text, so it fits.
INDEX = ir.IntType(64)


def straight(text: str, arrays: tuple[str, ...], room: Mapping[str, int] | None = None, lanes: int = 1) -> Any:
    """The block as a function for compiled code; `arrays` names its arguments. Raises SyntaxError for what it cannot do.

    room: names of places within the first argument, and at which element each begins: known to lie apart, what is written
    to one need not be waited for by what reads another.
    """
    places = dict(room or {})
    if getattr(config, "DISABLE_JIT", False):
        return _plain(text, arrays, places, lanes)
    lines = ast.parse(text).body

    @intrinsic(prefer_literal=False)
    def block(typing_context, *given):  # type: ignore[no-untyped-def]
        def generate(context, builder, signature, values):  # type: ignore[no-untyped-def]
            held = builder.extract_value
            data = {}
            for i, (name, kind) in enumerate(zip(arrays, signature.args[0].types, strict=True)):
                proxy = cgutils.create_struct_proxy(kind)(context, builder, value=held(values[0], i))  # type: ignore[no-untyped-call]
                data[name] = proxy.data
            for name, start in places.items():
                data[name] = builder.gep(data[arrays[0]], [ir.Constant(INDEX, start * lanes)])
            _Emitter(builder, data, lanes).run(lines)
            return context.get_dummy_value()

        return types.void(types.StarArgTuple(given)), generate  # type: ignore[no-untyped-call]

    return block


def _plain(text: str, arrays: tuple[str, ...], places: Mapping[str, int], lanes: int) -> Any:
    """The block as plain Python."""
    code = compile(text, "<straight arithmetic>", "exec")

    def matrix(p: Any, start: int, rows: int, *factors: float) -> Any:
        high = filled(rows)
        return sum(f * p[start + j * high : start + (j + 1) * high] for j, f in enumerate(factors))

    def pack(*entries: float) -> Any:
        return np.array(entries)

    known = {"matrix": matrix, "pack": pack, "floor": np.floor, "sqrt": np.sqrt, "max": np.maximum, "min": np.minimum}

    def block(*given: Any) -> None:
        parts = {name: given[0][start * lanes :] for name, start in places.items()}
        exec(code, dict(known), dict(zip(arrays, given, strict=True)) | parts)

    return block


class _Emitter:
    """Turns statements into instructions. data: pointer to the first element of each array."""

    def __init__(self, builder: ir.IRBuilder, data: dict[str, ir.Value], lanes: int = 1) -> None:
        self.b, self.data, self.lanes = builder, data, lanes
        self.kind = DOUBLE if lanes == 1 else ir.VectorType(DOUBLE, lanes)
        self.names: dict[str, ir.Value] = {}
        self.read: dict[tuple[str, int, int], ir.Value] = {}

    def run(self, lines: list[ast.stmt]) -> None:
        """Emit every statement."""
        for line in lines:
            if not isinstance(line, ast.Assign) or len(line.targets) != 1:
                raise SyntaxError(f"not an assignment: {ast.unparse(line)}")
            target, value = line.targets[0], self.value(line.value)
            if isinstance(target, ast.Tuple):
                for i, name in enumerate(target.elts):
                    if isinstance(name, ast.Name):
                        self.names[name.id] = self.entry(value, i)
            elif isinstance(target, ast.Name):
                self.names[target.id] = value
            else:
                array, index, size = self.element(target)
                parts = value if isinstance(value, list) else [value]
                for i, part in enumerate(parts):
                    place = self.place(array, index + i * LANES, min(size, LANES) if len(parts) > 1 else size)
                    self.b.store(part, place, align=8)

    def entry(self, value: ir.Value | list[ir.Value], index: int) -> ir.Value:
        """One entry of a vector, or of a product with a matrix."""
        if isinstance(value, list):
            if self.lanes > 1:
                return value[index]
            value, index = value[index // LANES], index % LANES
        return self.b.extract_element(value, ir.Constant(ir.IntType(32), index))

    def packed(self, entries: list[ir.Value]) -> ir.Value:
        """A vector of those entries."""
        vector = ir.Constant(ir.VectorType(DOUBLE, len(entries)), ir.Undefined)
        for i, entry in enumerate(entries):
            vector = self.b.insert_element(vector, entry, ir.Constant(ir.IntType(32), i))
        return vector

    def spread(self, number: ir.Value, size: int) -> ir.Value:
        """A vector with one number for all its entries."""
        kind = ir.VectorType(DOUBLE, size)
        one = self.b.insert_element(ir.Constant(kind, ir.Undefined), number, ir.Constant(ir.IntType(32), 0))
        return self.b.shuffle_vector(one, one, ir.Constant(ir.VectorType(ir.IntType(32), size), [0] * size))

    def alike(self, left: ir.Value, right: ir.Value) -> tuple[ir.Value, ir.Value]:
        """Both as vectors where one of them is."""
        if left.type == right.type:
            return left, right
        if left.type == DOUBLE:
            return self.spread(left, right.type.count), right
        return left, self.spread(right, left.type.count)

    def matrix(self, array: str, start: int, rows: int, column: list[ir.Value]) -> list[ir.Value]:
        """A matrix times a column, as vectors of eight rows; odd and even columns apart, so that sums wait less.

        Of several machines, each with a matrix of its own, row by row.
        """
        high = filled(rows)
        if self.lanes > 1:
            tops, size, factors = range(rows), 0, column
        else:
            tops, size, factors = range(0, rows, LANES), LANES, [self.spread(x, LANES) for x in column]
        return [
            self.sums((self.load(array, start + j * high + top, size), x) for j, x in enumerate(factors))
            for top in tops
        ]

    def sums(self, pairs: Iterable[tuple[ir.Value, ir.Value]]) -> ir.Value:
        """The sum of products, odd and even ones apart."""
        sums: list[ir.Value | None] = [None, None]
        for j, (left, right) in enumerate(pairs):
            before = sums[j % 2]
            # A product and a sum that may be reordered are made one chain again, and twice as long.
            sums[j % 2] = self.b.fmul(left, right) if before is None else self.call("llvm.fmuladd", left, right, before)
        return sums[0] if sums[1] is None else self.b.fadd(sums[0], sums[1])

    def element(self, node: ast.expr) -> tuple[str, int, int]:
        """(array, index, how many) of a subscript; 0: a plain element."""
        match node:
            case ast.Subscript(value=ast.Name(id=name), slice=ast.Constant(value=int(index))) if name in self.data:
                return name, index, 0
            case ast.Subscript(
                value=ast.Name(id=name),
                slice=ast.Slice(lower=ast.Constant(value=int(low)), upper=ast.Constant(value=int(high)), step=None),
            ) if name in self.data and self.lanes == 1:
                return name, low, high - low
        raise SyntaxError(f"not an element of an array: {ast.unparse(node)}")

    def place(self, array: str, index: int, size: int = 0) -> ir.Value:
        """Pointer to an element, or to a vector of so many."""
        place = self.b.gep(self.data[array], [ir.Constant(INDEX, index * self.lanes)])
        if size:
            return self.b.bitcast(place, ir.VectorType(DOUBLE, size).as_pointer())
        return place if self.lanes == 1 else self.b.bitcast(place, self.kind.as_pointer())

    def load(self, array: str, index: int, size: int = 0) -> ir.Value:
        """An element, or a vector of so many."""
        return self.b.load(self.place(array, index, size), align=8)

    def constant(self, number: float) -> ir.Value:
        return ir.Constant(self.kind, number if self.lanes == 1 else [number] * self.lanes)

    def value(self, node: ast.expr) -> ir.Value | list[ir.Value]:
        """The instruction that gives an expression's value."""
        match node:
            case ast.Constant(value=float(number)):
                return self.constant(number)
            case ast.Name(id=name) if name in self.names:
                return self.names[name]
            case ast.Subscript():
                key = self.element(node)
                if key not in self.read:
                    self.read[key] = self.load(*key)
                return self.read[key]
            case ast.UnaryOp(op=ast.USub(), operand=inner):
                return self.b.fneg(self.value(inner))
            case ast.BinOp(left=left, op=op, right=right):
                emit = {ast.Add: self.b.fadd, ast.Sub: self.b.fsub, ast.Mult: self.b.fmul, ast.Div: self.b.fdiv}
                if type(op) in emit:
                    return emit[type(op)](*self.alike(self.value(left), self.value(right)))
            case ast.Call(func=ast.Name(id="max"), args=[one, two]):
                a, b = self.alike(self.value(one), self.value(two))
                return self.b.select(self.b.fcmp_ordered(">", a, b), a, b)
            case ast.Call(func=ast.Name(id="min"), args=[one, two]):
                a, b = self.alike(self.value(one), self.value(two))
                return self.b.select(self.b.fcmp_ordered("<", a, b), a, b)
            case ast.Call(func=ast.Name(id="abs"), args=[one]):
                return self.call("llvm.fabs", self.value(one))
            case ast.Call(func=ast.Name(id="floor"), args=[one]):
                return self.call("llvm.floor", self.value(one))
            case ast.Call(func=ast.Name(id="sqrt"), args=[one]):
                return self.call("llvm.sqrt", self.value(one))
            case ast.Call(func=ast.Name(id="pack"), args=entries) if self.lanes == 1:
                return self.packed([self.value(entry) for entry in entries])
            case ast.Call(
                func=ast.Name(id="matrix"),
                args=[ast.Name(id=array), ast.Constant(value=int(start)), ast.Constant(value=int(rows)), *rest],
            ):
                return self.matrix(array, start, rows, [self.value(factor) for factor in rest])
        raise SyntaxError(f"no straight arithmetic: {ast.unparse(node)}")

    def call(self, name: str, *given: ir.Value) -> ir.Value:
        """One of LLVM's own functions of floats."""
        kind = given[0].type
        whole = "f64" if kind == DOUBLE else f"v{kind.count}f64"
        function = ir.FunctionType(kind, [kind] * len(given))
        return self.b.call(cgutils.get_or_insert_function(self.b.module, function, f"{name}.{whole}"), given)  # type: ignore[no-untyped-call]

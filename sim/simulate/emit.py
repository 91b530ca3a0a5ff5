"""Straight-line arithmetic, printed as text, as machine code inside a numba function.

numba's front end takes milliseconds a statement: it finds out the type of every name and looks up every operator. A
block of printed force arithmetic has hundreds of statements, all of them on floats, so it is handed to the compiler
directly: parsed by Python's own `ast`, one instruction an operator, into the function that calls it.

    block = straight("d0 = X[0] - P[0]\\nF[0] = -P[1] * d0\\n", ("P", "X", "F"))

makes `block(P, X, F)`, callable from compiled code with float64 arrays of one dimension. Statements are assignments to
a name, set once, or to an element of an array; the expressions know + - * /, max, min, abs, floor, sqrt. Indices are numbers.
Elements are read once: a block must not read what it has written. Besides, `a0, a1, ... = matrix(P, start, f0, f1, ...)`
multiplies by a matrix kept in P column by column, each column filled up to a multiple of eight entries. With numba
switched off the block is plain Python.

With `lanes` = 8 every element is eight numbers, one of each of eight machines that are worked out together: element i stands
in entries 8 i to 8 i + 7 of its array.
"""

from __future__ import annotations

import ast
import math
from typing import Any

from llvmlite import ir
from numba import config, types
from numba.core import cgutils
from numba.extending import intrinsic

from .printer import LANES

DOUBLE = ir.DoubleType()
#: An array's index is printed as text, so it fits.
INDEX = ir.IntType(64)


def straight(text: str, arrays: tuple[str, ...], lanes: int = 1) -> Any:
    """The block as a function for compiled code; `arrays` names its arguments. Raises SyntaxError for what it cannot do."""
    if getattr(config, "DISABLE_JIT", False):
        return _plain(text, arrays)
    lines = ast.parse(text).body

    @intrinsic(prefer_literal=False)
    def block(typing_context, *given):  # type: ignore[no-untyped-def]
        def generate(context, builder, signature, values):  # type: ignore[no-untyped-def]
            held = builder.extract_value
            data = {}
            for i, (name, kind) in enumerate(zip(arrays, signature.args[0].types, strict=True)):
                proxy = cgutils.create_struct_proxy(kind)(context, builder, value=held(values[0], i))  # type: ignore[no-untyped-call]
                data[name] = proxy.data
            _Emitter(builder, data, lanes).run(lines)
            return context.get_dummy_value()

        return types.void(types.StarArgTuple(given)), generate  # type: ignore[no-untyped-call]

    return block


def _plain(text: str, arrays: tuple[str, ...]) -> Any:
    """The block as plain Python."""
    tree = ast.parse(text)
    for line in tree.body:
        match line:
            case ast.Assign(targets=[ast.Tuple(elts=targets)], value=ast.Call(args=given)):
                given.insert(2, ast.Constant(len(targets)))
    code = compile(ast.fix_missing_locations(tree), "<straight arithmetic>", "exec")

    def matrix(p: Any, start: int, rows: int, *factors: float) -> Any:
        high = -(-rows // LANES) * LANES
        return sum(f * p[start + j * high : start + j * high + rows] for j, f in enumerate(factors))

    def block(*given: Any) -> None:
        exec(code, {"matrix": matrix, "floor": math.floor, "sqrt": math.sqrt}, dict(zip(arrays, given, strict=True)))

    return block


class _Emitter:
    """Turns statements into instructions. data: pointer to the first element of each array."""

    def __init__(self, builder: ir.IRBuilder, data: dict[str, ir.Value], lanes: int = 1) -> None:
        self.b, self.data, self.lanes = builder, data, lanes
        self.kind = DOUBLE if lanes == 1 else ir.VectorType(DOUBLE, lanes)
        self.names: dict[str, ir.Value] = {}
        self.read: dict[tuple[str, int], ir.Value] = {}

    def run(self, lines: list[ast.stmt]) -> None:
        """Emit every statement."""
        for line in lines:
            if not isinstance(line, ast.Assign) or len(line.targets) != 1:
                raise SyntaxError(f"not an assignment: {ast.unparse(line)}")
            target = line.targets[0]
            if isinstance(target, ast.Tuple):
                self.matrix(target.elts, line.value)
            elif isinstance(target, ast.Name):
                self.names[target.id] = self.value(line.value)
            else:
                self.b.store(self.value(line.value), self.place(*self.element(target)), align=8)

    def matrix(self, targets: list[ast.expr], product: ast.expr) -> None:
        """A matrix times a column, eight rows to a register; odd and even columns apart, so that sums wait less."""
        match product:
            case ast.Call(func=ast.Name(id="matrix"), args=[ast.Name(id=array), ast.Constant(value=int(start)), *rest]):
                column = [self.value(factor) for factor in rest]
            case _:
                raise SyntaxError(f"not a product with a matrix: {ast.unparse(product)}")
        high = -(-len(targets) // LANES) * LANES
        if self.lanes > 1:
            self.lanes_of_a_matrix(targets, array, start, high, column)
            return
        kind = ir.VectorType(DOUBLE, LANES)
        for top in range(0, len(targets), LANES):
            sums: list[ir.Value | None] = [None, None]
            for j, x in enumerate(column):
                place = self.b.bitcast(self.place(array, start + j * high + top), kind.as_pointer())
                rows = self.b.load(place, align=8)
                one = self.b.insert_element(ir.Constant(kind, ir.Undefined), x, ir.Constant(ir.IntType(32), 0))
                same = ir.Constant(ir.VectorType(ir.IntType(32), LANES), [0] * LANES)
                term = self.b.fmul(rows, self.b.shuffle_vector(one, one, same))
                before = sums[j % 2]
                sums[j % 2] = term if before is None else self.b.fadd(before, term)
            whole = sums[0] if sums[1] is None else self.b.fadd(sums[0], sums[1])
            for i, target in enumerate(targets[top : top + LANES]):
                assert isinstance(target, ast.Name)
                self.names[target.id] = self.b.extract_element(whole, ir.Constant(ir.IntType(32), i))

    def lanes_of_a_matrix(
        self, targets: list[ast.expr], array: str, start: int, high: int, column: list[ir.Value]
    ) -> None:
        """The same of several machines, each with a matrix of its own: row by row, odd and even columns apart."""
        for i, target in enumerate(targets):
            sums: list[ir.Value | None] = [None, None]
            for j, x in enumerate(column):
                term = self.b.fmul(self.b.load(self.place(array, start + j * high + i), align=8), x)
                before = sums[j % 2]
                sums[j % 2] = term if before is None else self.b.fadd(before, term)
            assert isinstance(target, ast.Name)
            self.names[target.id] = sums[0] if sums[1] is None else self.b.fadd(sums[0], sums[1])

    def element(self, node: ast.expr) -> tuple[str, int]:
        """(array, index) of a subscript."""
        match node:
            case ast.Subscript(value=ast.Name(id=name), slice=ast.Constant(value=int(index))) if name in self.data:
                return name, index
        raise SyntaxError(f"not an element of an array: {ast.unparse(node)}")

    def place(self, array: str, index: int) -> ir.Value:
        """Pointer to an element."""
        place = self.b.gep(self.data[array], [ir.Constant(INDEX, index * self.lanes)])
        return place if self.lanes == 1 else self.b.bitcast(place, self.kind.as_pointer())

    def value(self, node: ast.expr) -> ir.Value:
        """The instruction that gives an expression's value."""
        match node:
            case ast.Constant(value=float(number)):
                return ir.Constant(self.kind, number if self.lanes == 1 else [number] * self.lanes)
            case ast.Name(id=name) if name in self.names:
                return self.names[name]
            case ast.Subscript():
                key = self.element(node)
                if key not in self.read:
                    self.read[key] = self.b.load(self.place(*key), align=8)
                return self.read[key]
            case ast.UnaryOp(op=ast.USub(), operand=inner):
                return self.b.fneg(self.value(inner))
            case ast.BinOp(left=left, op=op, right=right):
                emit = {ast.Add: self.b.fadd, ast.Sub: self.b.fsub, ast.Mult: self.b.fmul, ast.Div: self.b.fdiv}
                if type(op) in emit:
                    return emit[type(op)](self.value(left), self.value(right))
            case ast.Call(func=ast.Name(id="max"), args=[one, two]):
                a, b = self.value(one), self.value(two)
                return self.b.select(self.b.fcmp_ordered(">", a, b), a, b)
            case ast.Call(func=ast.Name(id="min"), args=[one, two]):
                a, b = self.value(one), self.value(two)
                return self.b.select(self.b.fcmp_ordered("<", a, b), a, b)
            case ast.Call(func=ast.Name(id="abs"), args=[one]):
                return self.call("llvm.fabs", self.value(one))
            case ast.Call(func=ast.Name(id="floor"), args=[one]):
                return self.call("llvm.floor", self.value(one))
            case ast.Call(func=ast.Name(id="sqrt"), args=[one]):
                return self.call("llvm.sqrt", self.value(one))
        raise SyntaxError(f"no straight arithmetic: {ast.unparse(node)}")

    def call(self, name: str, argument: ir.Value) -> ir.Value:
        """One of LLVM's own functions of a float."""
        if self.lanes == 1:
            return self.b.call(self.b.module.declare_intrinsic(name, [DOUBLE]), [argument])
        kind = ir.FunctionType(self.kind, [self.kind])
        known = cgutils.get_or_insert_function(self.b.module, kind, f"{name}.v{self.lanes}f64")  # type: ignore[no-untyped-call]
        return self.b.call(known, [argument])

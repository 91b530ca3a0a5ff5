"""Straight blocks: the compiled arithmetic is that of Python, and what is no straight arithmetic is refused."""

from __future__ import annotations

import ast
import ctypes
from collections.abc import Callable

import numpy as np
import pytest
from beltspring.sim.simulate import emit
from llvmlite import binding, ir
from numba import njit

TEXT = """
a = X[0] * 2.0 - X[1] / (P[0] + 3.0)
b = max(a, X[2]) + min(a, 0.5) * abs(-X[1])
c = floor(b * 1.5) - -a
Y[0] = a
Y[1] = b + c
m0, m1, m2, *_ = matrix(P, 1, 3, a, b)
Y[2] = m0
Y[3] = m1 * m2
v = pack(a, X[1]) * P[1:3] - X[0]
lo, hi = max(v, 0.25) / P[0]
Y[4] = lo + 2.0 * hi
Y[5:7] = -floor(v * 3.0)
R[0:8] = matrix(P, 1, 3, b)
Y[7] = X[0]
"""
NAMES = ("P", "X", "Y")


def parameters(rng: np.random.Generator) -> np.ndarray:
    return np.concatenate([rng.uniform(1, 2, 1), rng.uniform(-1, 1, 16), np.zeros(8)])


@pytest.mark.parametrize("seed", range(5))
def test_compiled_is_python(seed):
    # Python's own arithmetic on the same text is the measure; the matrix is numpy's.
    rng = np.random.default_rng(seed)
    p, x, y = parameters(rng), rng.uniform(-2, 2, 3), np.zeros(8)
    block = emit.straight(TEXT, NAMES, {"R": 17})

    @njit
    def go(p, x, y):
        block(p, x, y)

    go(p, x, y)
    a = x[0] * 2 - x[1] / (p[0] + 3)
    b = max(a, x[2]) + min(a, 0.5) * abs(-x[1])
    c = np.floor(b * 1.5) + a
    m = p[1:17].reshape(2, 8).T[:3] @ np.array([a, b])
    v = np.array([a, x[1]]) * p[1:3] - x[0]
    two = np.maximum(v, 0.25) / p[0]
    wanted = [a, b + c, m[0], m[1] * m[2], two[0] + 2 * two[1], *-np.floor(v * 3), x[0]]
    assert y == pytest.approx(wanted, rel=1e-14, abs=1e-14)
    assert p[17:] == pytest.approx(b * p[1:9], rel=1e-14, abs=1e-14)


def test_without_numba_it_is_plain_python(monkeypatch):
    rng = np.random.default_rng(7)
    p, x, y, z = parameters(rng), rng.uniform(-2, 2, 3), np.zeros(8), np.zeros(8)
    block, other = emit.straight(TEXT, NAMES, {"R": 17}), parameters(np.random.default_rng(7))

    @njit
    def go(p, x, y):
        block(p, x, y)

    go(p, x, y)
    monkeypatch.setattr(emit.config, "DISABLE_JIT", True)
    emit.straight(TEXT, NAMES, {"R": 17})(other, x, z)
    assert z == pytest.approx(y, rel=1e-14, abs=1e-14)
    assert other == pytest.approx(p, rel=1e-14, abs=1e-14)


@pytest.mark.parametrize(
    "text", ["for i in range(3): Y[0] = X[0]", "Y[0] = unknown", "Y[0] = X[0] ** 2", "Y[i] = X[0]", "Y[0] = Z[0]"]
)
def test_what_is_not_straight_is_refused(text):
    block = emit.straight(text, NAMES)

    @njit
    def go(p, x, y):
        block(p, x, y)

    with pytest.raises(SyntaxError, match=r"not an assignment|no straight arithmetic|not an element"):
        go(np.zeros(1), np.zeros(1), np.zeros(1))


@pytest.mark.parametrize("lanes", [1, 8])
def test_a_matrix_of_more_rows_than_a_register_is_numpys(lanes):
    """Ten rows fill one register of eight and begin another; three columns, so that odd and even ones are summed apart. With
    eight lanes each machine has numbers of its own."""
    rows, columns, high = 10, 3, 16
    names = ", ".join(f"m{i}" for i in range(rows))
    text = f"a = sqrt(X[0])\nb = -X[1] + 2.0\nc = X[2] / X[0]\n{names}, *_ = matrix(P, 2, {rows}, a, b, c)\n"
    text += "\n".join(f"Y[{i}] = m{i} * P[1] + floor(max(a, b))" for i in range(rows))
    block = emit.straight(text, NAMES, lanes=lanes)

    @njit
    def go(p, x, y):
        block(p, x, y)

    rng = np.random.default_rng(3)
    p, x = rng.uniform(-1, 1, (2 + columns * high, lanes)), rng.uniform(1, 3, (3, lanes))
    y = np.zeros((rows, lanes))
    go(p.ravel(), x.ravel(), y.ravel())
    for i in range(lanes):
        a, b, c = np.sqrt(x[0, i]), 2.0 - x[1, i], x[2, i] / x[0, i]
        product = p[2:, i].reshape(columns, high).T[:rows] @ np.array([a, b, c])
        assert y[:, i] == pytest.approx(product * p[1, i] + np.floor(max(a, b)), rel=1e-13, abs=1e-13)


def by_llvm(text: str, lanes: int = 1) -> Callable[..., None]:
    """A block as machine code by LLVM alone, with nothing of numba's around it: a function of arrays P, X and Y."""
    binding.initialize_native_target()
    binding.initialize_native_asmprinter()
    module = ir.Module("block")
    kind = ir.FunctionType(ir.VoidType(), [ir.DoubleType().as_pointer()] * 3)
    function = ir.Function(module, kind, "block")
    builder = ir.IRBuilder(function.append_basic_block())
    emit._Emitter(builder, dict(zip(NAMES, function.args, strict=True)), lanes).run(ast.parse(text).body)
    builder.ret_void()
    machine = binding.Target.from_default_triple().create_target_machine()
    engine = binding.create_mcjit_compiler(binding.parse_assembly(str(module)), machine)
    engine.finalize_object()
    call = ctypes.CFUNCTYPE(None, *[ctypes.POINTER(ctypes.c_double)] * 3)(engine.get_function_address("block"))

    def block(*arrays: np.ndarray) -> None:
        call(*(array.ctypes.data_as(ctypes.POINTER(ctypes.c_double)) for array in arrays))

    block.engine = engine  # type: ignore[attr-defined]
    return block


@pytest.mark.parametrize("lanes", [1, 8])
@pytest.mark.parametrize(
    "text", ["Y[0] = Z[0]", "Y[i] = X[0]", "Y[0:8:2] = X[0]", "X = Y = P[0]", "Y[0] += X[0]", "Y[0] = nothing"]
)
def test_llvm_is_given_nothing_that_is_not_straight(text, lanes):
    with pytest.raises(SyntaxError):
        by_llvm(text, lanes)


def test_with_lanes_there_are_no_vectors():
    for text in ("Y[0:4] = X[0:4]", "a = pack(X[0], X[1])"):
        by_llvm(text)
        with pytest.raises(SyntaxError):
            by_llvm(text, lanes=8)


EVERYTHING = """
a = X[0] * 2.0 - X[1] / (P[0] + 3.0)
b = max(a, X[2]) + min(a, 0.5) * abs(-X[1])
c = floor(b * 1.5) - -sqrt(X[3])
{names}, *_ = matrix(P, 8, 11, a, b, c)
"""


@pytest.mark.parametrize("lanes", [1, 8])
def test_what_llvm_makes_of_it_is_numpys_arithmetic(lanes):
    """Every operation, and a matrix of eleven rows, two registers, by three columns; with eight lanes eight of each."""
    names = [f"m{i}" for i in range(11)]
    text = EVERYTHING.replace("{names}", ", ".join(names)) + "\n".join(
        f"Y[{i}] = {x} * P[1]" for i, x in enumerate(names)
    )
    block = by_llvm(text + "\nY[11] = a\nY[12] = b + c\nY[13] = X[0]", lanes)
    rng = np.random.default_rng(5)
    p, x, y = rng.uniform(-1, 1, (8 + 3 * 16, lanes)), rng.uniform(0.1, 2, (4, lanes)), np.zeros((14, lanes))
    block(p, x, y)
    a = x[0] * 2 - x[1] / (p[0] + 3)
    b = np.maximum(a, x[2]) + np.minimum(a, 0.5) * x[1]
    c = np.floor(b * 1.5) + np.sqrt(x[3])
    product = sum(f * p[8 + 16 * j : 19 + 16 * j] for j, f in enumerate((a, b, c)))
    assert y == pytest.approx(np.vstack([product * p[1], a, b + c, x[0]]), rel=1e-13, abs=1e-14)


def test_what_llvm_makes_of_vectors_is_numpys_arithmetic():
    text = """
v = pack(X[0], X[1], X[2], 2.0) * P[0:4] - X[0]
w = 0.25 / (max(v, 0.5) + abs(P[4:8]))
a, b, *_ = w
Y[0:4] = min(v, w)
Y[4] = a - b
Y[8:24] = matrix(P, 8, 11, a, X[3], b)
Y[24:32] = P[8:16]
Y[32:34] = -pack(a, X[0])
Y[34:42] = matrix(P, 8, 5, X[1])
"""
    block = by_llvm(text)
    rng = np.random.default_rng(6)
    p, x, y = rng.uniform(-1, 1, 8 + 3 * 16), rng.uniform(0.1, 2, 4), np.zeros(42)
    block(p, x, y)
    v = np.array([*x[:3], 2.0]) * p[:4] - x[0]
    w = 0.25 / (np.maximum(v, 0.5) + np.abs(p[4:8]))
    assert y[:4] == pytest.approx(np.minimum(v, w), rel=1e-13)
    assert y[4] == pytest.approx(w[0] - w[1], rel=1e-12)
    columns = p[8:].reshape(3, 16)
    assert y[8:24] == pytest.approx(np.array([w[0], x[3], w[1]]) @ columns, rel=1e-13, abs=1e-14)
    assert np.array_equal(y[24:32], p[8:16])
    assert y[32:34].tolist() == [-w[0], -x[0]]
    assert y[34:] == pytest.approx(p[8:16] * x[1], rel=1e-15)

"""CVODE of the SUNDIALS suite through its C interface, with a right side compiled by numba: a peer for benchmarks.

The libraries come from the wheel of PyPI `scikit-sundae`. The right side is a C function of our own, so nothing of Python
runs between two outputs. (SUNDIALS documentation, C interface of CVODE; Hindmarsh et al., ACM TOMS 31(3), 2005.)
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import sksundae.cvode  # loads what the libraries need
from numba import carray, cfunc, types
from numpy.typing import NDArray

Array = NDArray[np.float64]
ADAMS, BDF, NORMAL = 1, 2, 1
P, D, L = ctypes.c_void_p, ctypes.c_double, ctypes.c_int64


def library() -> Any:
    """libsundials_cvode with the argument types of what is used."""
    folder = Path(sksundae.__file__).parents[1] / "scikit_sundae.libs"
    (path,) = folder.glob("libsundials_cvode-*")
    lib = ctypes.CDLL(str(path))
    for name, result, arguments in (
        ("SUNContext_Create", ctypes.c_int, [ctypes.c_int, P]),
        ("N_VMake_Serial", P, [L, P, P]),
        ("N_VGetArrayPointer_Serial", P, [P]),
        ("CVodeCreate", P, [ctypes.c_int, P]),
        ("CVodeInit", ctypes.c_int, [P, P, D, P]),
        ("CVodeReInit", ctypes.c_int, [P, D, P]),
        ("CVodeSStolerances", ctypes.c_int, [P, D, D]),
        ("CVodeSetMaxNumSteps", ctypes.c_int, [P, ctypes.c_long]),
        ("CVodeSetStopTime", ctypes.c_int, [P, D]),
        ("CVode", ctypes.c_int, [P, D, P, P, ctypes.c_int]),
        ("SUNDenseMatrix", P, [L, L, P]),
        ("SUNLinSol_Dense", P, [P, P, P]),
        ("CVodeSetLinearSolver", ctypes.c_int, [P, P, P]),
        ("SUNNonlinSol_FixedPoint", P, [P, ctypes.c_int, P]),
        ("CVodeSetNonlinearSolver", ctypes.c_int, [P, P]),
    ):
        function = getattr(lib, name)
        function.restype, function.argtypes = result, arguments
    return lib


class Cvode:
    """One solver. rate(t, y, out) is a numba function; y (n,) is the state, changed as it goes."""

    def __init__(self, rate: Callable[..., None], y: Array, rtol: float, atol: float, method: int = BDF) -> None:
        self.lib, self.y, n = library(), y, len(y)
        context = ctypes.c_void_p()
        assert self.lib.SUNContext_Create(0, ctypes.byref(context)) == 0
        data = self.lib.N_VGetArrayPointer_Serial

        @cfunc(types.int32(types.float64, types.voidptr, types.voidptr, types.voidptr))
        def right_side(t, there, slope, _):  # type: ignore[no-untyped-def]
            rate(t, carray(as_doubles(data(there)), n), carray(as_doubles(data(slope)), n))
            return 0

        self.right_side = right_side
        self.vector = self.lib.N_VMake_Serial(n, y.ctypes.data, context)
        self.memory = self.lib.CVodeCreate(method, context)
        calls = [
            self.lib.CVodeInit(self.memory, right_side.address, 0.0, self.vector),
            self.lib.CVodeSStolerances(self.memory, rtol, atol),
            self.lib.CVodeSetMaxNumSteps(self.memory, 10_000_000),
        ]
        if method == BDF:
            matrix = self.lib.SUNDenseMatrix(n, n, context)
            solver = self.lib.SUNLinSol_Dense(self.vector, matrix, context)
            calls.append(self.lib.CVodeSetLinearSolver(self.memory, solver, matrix))
        else:
            solver = self.lib.SUNNonlinSol_FixedPoint(self.vector, 0, context)
            calls.append(self.lib.CVodeSetNonlinearSolver(self.memory, solver))
        assert not any(calls)

    def restart(self, t: float, until: float) -> None:
        """Begin afresh at t from the present state, and never look beyond `until`."""
        assert self.lib.CVodeReInit(self.memory, t, self.vector) == 0
        assert self.lib.CVodeSetStopTime(self.memory, until) == 0

    def go(self, t: float) -> None:
        """On to time t; the state is then in `y`."""
        reached = ctypes.c_double()
        flag = self.lib.CVode(self.memory, t, self.vector, ctypes.byref(reached), NORMAL)
        assert flag >= 0, f"CVODE returned {flag}"


def _pointer_cast() -> Any:
    """A numba function from an address to a pointer to doubles, which numba has no word for."""
    from numba.extending import intrinsic

    @intrinsic
    def cast(typing_context, address):  # type: ignore[no-untyped-def]
        def generate(context, builder, signature, arguments):  # type: ignore[no-untyped-def]
            return builder.bitcast(arguments[0], context.get_value_type(signature.return_type))

        return types.CPointer(types.float64)(types.voidptr), generate

    return cast


as_doubles = _pointer_cast()

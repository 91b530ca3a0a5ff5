"""Compiled kernels kept between runs: one self-contained source file each in the person's own cache folder.

numba cannot cache code that was exec'd, so the printed source is written to a file (beside, then renamed) and imported;
numba then keeps the machine code next to it. The name is a hash of the source, the versions of this package, numba and
Python, and the processor. Where the folder cannot be written the kernel is compiled for this run only, and says so.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import os
import platform
import sys
import tempfile
from collections.abc import Callable
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from ..caches import cache_folder, make_private

Kernel = Callable[..., None]
#: What every kernel takes, in order: i whole numbers, f reals, and how many axes (0: a plain number).
ARGUMENTS = "i0 f1 f1 f1 f1 f1 f1 f3 f3 f3 f2 i1 f2 f1 f1 f1 f2"
_loaded: dict[str, Kernel] = {}


def kernel_name(text: str) -> str:
    """Name that changes with everything the machine code depends on."""
    import llvmlite.binding as llvm
    import numba

    try:
        own = version("beltspring")
    except PackageNotFoundError:
        own = "source"
    parts = (text, own, numba.__version__, sys.version, platform.machine(), llvm.get_host_cpu_name())
    return "loop_" + hashlib.sha256("\0".join(parts).encode()).hexdigest()[:24]


def is_cached(text: str) -> bool:
    """Whether the kernel's machine code is already kept."""
    name = kernel_name(text)
    return name in _loaded or any((cache_folder() / "__pycache__").glob(f"{name}*.nbc"))


def load_kernel(text: str) -> tuple[Kernel, list[str]]:
    """The compiled `advance` of a printed source, and notes for the person (empty when all went well)."""
    name = kernel_name(text)
    if name in _loaded:
        return _loaded[name], []
    try:
        kernel = _kept(name, text)
        notes: list[str] = []
    except OSError as problem:
        space: dict[str, Any] = {}
        exec(compile(text.replace("cache=True, ", ""), f"<{name}>", "exec"), space)
        kernel = space["advance"]
        _make(kernel)
        notes = [
            f"the step loop was compiled for this run only: {cache_folder()} cannot be used ({problem.strerror or problem});"
            " set BELTSPRING_CACHE to a folder of your own to keep it"
        ]
    _loaded[name] = kernel
    return kernel, notes


def _kept(name: str, text: str) -> Kernel:
    """The kernel from its file, machine code included. Raises OSError where the folder cannot be used."""
    path = _write(name, text)
    try:
        return _from_file(path, name)
    except OSError:
        raise
    except Exception:
        # What numba kept cannot be read (a full disk, a machine switched off): throw it away and compile afresh, once.
        for damaged in (path.parent / "__pycache__").glob(f"{name}*"):
            damaged.unlink(missing_ok=True)
        return _from_file(path, name)


def _write(name: str, text: str) -> Path:
    folder = cache_folder()
    make_private(folder)
    path = folder / f"{name}.py"
    if path.exists() and path.read_text(encoding="utf-8") == text:
        if not os.access(folder, os.W_OK) and not is_cached(text):
            raise PermissionError(0, "no permission to write there")
        return path
    handle, beside = tempfile.mkstemp(dir=folder, suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as f:
            f.write(text)
        os.replace(beside, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(beside)
        raise
    return path


def _from_file(path: Path, name: str) -> Kernel:
    spec = importlib.util.spec_from_file_location(f"_beltspring_{name}", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    try:
        spec.loader.exec_module(module)
    except RuntimeError as problem:
        # numba refuses to cache where it finds no writable place.
        raise PermissionError(0, str(problem)) from problem
    kernel: Kernel = module.advance
    _make(kernel)
    return kernel


def _make(kernel: Kernel) -> None:
    """Machine code now, not at the first call. With numba switched off a kernel is plain Python and needs none."""
    from numba import types

    dispatcher: Any = kernel
    if not hasattr(dispatcher, "compile"):
        return
    signature = []
    for word in ARGUMENTS.split():
        kind, axes = types.int64 if word[0] == "i" else types.float64, int(word[1])
        signature.append(types.Array(kind, axes, "C") if axes else kind)
    dispatcher.compile(tuple(signature))

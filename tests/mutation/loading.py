"""Putting a fault into the engine as it is loaded, or into one that is loaded already; the tree itself is never changed."""

from __future__ import annotations

import gc
import hashlib
import importlib.util
import sys
from collections.abc import Callable, Iterator
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, SourceFileLoader
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any

from .faults import with_fault

ROOT = Path(__file__).resolve().parents[2]
SIM = str(ROOT / "sim")
NAME = "beltspring"
#: Values that compiled code takes over from the names around it.
PLAIN = (bool, int, float, complex, str, tuple)


class Finder(MetaPathFinder):
    """Finds the package in this tree, one module of it with a fault."""

    def __init__(self, module: Path | None = None, number: int = 0) -> None:
        self.module, self.number = module, number

    def find_spec(self, fullname: str, path: object = None, target: object = None) -> ModuleSpec | None:
        """See importlib."""
        if fullname == NAME:
            spec = ModuleSpec(fullname, None, is_package=True)
            spec.submodule_search_locations = [str(ROOT)]
            return spec
        if not fullname.startswith(f"{NAME}."):
            return None
        place = ROOT.joinpath(*fullname.split(".")[1:])
        inside = place.is_dir()
        file = place / "__init__.py" if inside else place.with_suffix(".py")
        if not file.is_file():
            return None
        loader = _Loader(fullname, str(file), self.number if file == self.module else None)
        where = [str(place)] if inside else None
        return importlib.util.spec_from_file_location(fullname, file, loader=loader, submodule_search_locations=where)


class _Loader(SourceFileLoader):
    def __init__(self, fullname: str, path: str, number: int | None) -> None:
        super().__init__(fullname, path)
        self.number = number

    def get_code(self, fullname: str) -> CodeType | None:
        if self.number is None:
            return super().get_code(fullname)
        return faulty_code(Path(self.path), self.number)

    def exec_module(self, module: ModuleType) -> None:
        super().exec_module(module)
        if self.name == f"{NAME}.sim.finished":
            module.off = True  # type: ignore[attr-defined]  # it goes by the files, which do not tell of a fault
        if self.name == f"{NAME}.sim.compiling":
            _name_by_content(module)


def faulty_code(path: Path, number: int) -> CodeType:
    """A module's code with one fault in it."""
    return compile(with_fault(path.read_text(encoding="utf-8"), number), str(path), "exec", dont_inherit=True)


def _name_by_content(compiling: Any) -> None:
    """Machine code is kept by what really goes into it, since the files do not tell of a fault: all else is shared."""
    ours: Callable[..., None] = compiling.keep_between_runs

    def keep_between_runs(dispatcher: Any, name: Callable[[Any], str], *ready: Any) -> None:
        known: list[str] = []

        def by_content(signature: Any) -> str:
            if not known:
                known.append(_content(dispatcher.py_func))
            return f"{name(signature)}_{known[0]}"

        ours(dispatcher, by_content, *ready)

    compiling.keep_between_runs = keep_between_runs


def reached(function: FunctionType) -> Iterator[tuple[str, Any]]:
    """(name, value) of everything of the engine's that compiling a function takes in: functions, and plain values."""
    todo, seen = [("", function)], set()
    while todo:
        name, found = todo.pop()
        if id(found) in seen:
            continue
        seen.add(id(found))
        yield name, found
        names = sorted(_names(found.__code__))
        around = [(x, found.__globals__[x]) for x in names if x in found.__globals__]
        around += [
            (x, c.cell_contents) for x, c in zip(found.__code__.co_freevars, found.__closure__ or (), strict=True)
        ]
        for module in [v for _, v in around if isinstance(v, ModuleType) and v.__name__.startswith(NAME)]:
            around += [(x, getattr(module, x)) for x in names if hasattr(module, x)]
        for x, value in around:
            value = getattr(value, "py_func", value)
            if isinstance(value, FunctionType) and value.__code__.co_filename.startswith((SIM, "<")):
                todo.append((x, value))
            elif isinstance(value, PLAIN) or type(value).__name__ == "ndarray":
                yield x, value


def _names(code: CodeType) -> set[str]:
    return set(code.co_names).union(*(_names(x) for x in code.co_consts if isinstance(x, CodeType)))


def _content(function: FunctionType) -> str:
    made = hashlib.sha256()
    for name, value in reached(function):
        said = _own(value.__code__, deep=True) if isinstance(value, FunctionType) else value
        made.update(repr((name, said)).encode())
    return made.hexdigest()[:16]


def _own(code: CodeType, deep: bool = False) -> tuple[Any, ...]:
    """What a code object does itself."""
    inner = tuple(_own(x, deep) if deep else None for x in code.co_consts if isinstance(x, CodeType))
    plain = repr([x for x in code.co_consts if not isinstance(x, CodeType)])
    return code.co_code, plain, code.co_names, code.co_varnames, code.co_freevars, code.co_cellvars, inner


class Loaded:
    """Every function of the engine, as it stands in memory."""

    def __init__(self) -> None:
        self._by_place: dict[tuple[str, str, int], list[FunctionType]] = {}
        for found in gc.get_objects():
            if type(found) is FunctionType and found.__code__.co_filename.startswith(SIM):
                self._by_place.setdefault(_key(found.__code__), []).append(found)

    def put(self, path: Path, number: int) -> bool:
        """Change the functions a fault is in. False where it is not in one, so that the module has to be loaded anew."""
        sound = compile(path.read_text(encoding="utf-8"), str(path), "exec", dont_inherit=True)
        changed = self._changed(sound, faulty_code(path, number), ())
        if not changed:
            return False
        try:
            for code in changed:
                for function in self._by_place[_key(code)]:
                    function.__code__ = code
        except ValueError:  # it would need another number of names from around it
            return False
        return True

    def _changed(self, sound: CodeType, faulty: CodeType, around: tuple[CodeType, ...]) -> list[CodeType] | None:
        """Codes of functions to be exchanged; None where something outside every function is changed."""
        if _key(faulty) in self._by_place:
            around = (*around, faulty)
        before, after = ([x for x in c.co_consts if isinstance(x, CodeType)] for c in (sound, faulty))
        if _own(sound) != _own(faulty):
            return list(around) or None
        out: list[CodeType] = []
        for one, other in zip(before, after, strict=True):
            found = self._changed(one, other, around)
            if found is None:
                return None
            out += found
        return out


def _key(code: CodeType) -> tuple[str, str, int]:
    return code.co_filename, code.co_qualname, code.co_firstlineno


def install(module: Path | None = None, number: int = 0) -> None:
    """The engine comes from this tree from now on, one module of it with a fault."""
    sys.meta_path[:] = [Finder(module, number), *(x for x in sys.meta_path if not isinstance(x, Finder))]

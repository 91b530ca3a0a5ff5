"""Object files joined into one run of bytes that can be put anywhere: of ELF for x86-64, what a compiled function needs.

Sections are laid one after the other; every address among them is a whole one of eight bytes, which is how machine code that
is made to be run at once is written (the "large" code model). Anything else (what is counted from where it stands, memory that
is written to) and the whole is refused: whoever asks has another way. Source: System V Application Binary Interface, AMD64
Architecture Processor Supplement, and its generic part, chapter 4.
"""

from __future__ import annotations

import struct
from collections.abc import Collection, Iterable
from dataclasses import dataclass

#: The file's head, one of a section, a symbol, a place that takes an address.
HEADER, SECTION = struct.Struct("<16sHHIQQQIHHHHHH"), struct.Struct("<IIQQQQIIQQ")
SYMBOL, PLACE = struct.Struct("<IBBHQQ"), struct.Struct("<QQq")
X86_64, RELOCATABLE = 62, 1
PROGBITS, SYMTAB, RELA = 1, 2, 4
WRITE, ALLOC, EXECUTE = 1, 2, 4
ADDRESS_64 = 1


@dataclass(frozen=True)
class Joined:
    """code: all of it.  found: where the names asked for stand in it.  places, calls: as `finished._lay` takes them."""

    code: bytes
    found: dict[str, int]
    places: list[list[int]]
    calls: list[str]


@dataclass(frozen=True)
class _Section:
    """A section of one object. size, align: in bytes.  places: of its addresses where, the number of a symbol, how far on."""

    kind: int
    flags: int
    data: bytes
    align: int
    places: list[tuple[int, int, int]]

    @property
    def plain(self) -> bool:
        """Whether it is laid into memory and never written to."""
        return self.kind == PROGBITS and self.flags & ALLOC != 0 and not self.flags & WRITE


@dataclass(frozen=True)
class _Symbol:
    """section: its number, 0 where the name is another object's.  value: where in it.  size: 0 for a section itself."""

    name: str
    section: int
    value: int
    size: int
    shared: bool


@dataclass(frozen=True)
class _Object:
    sections: list[_Section]
    symbols: list[_Symbol]


def _read(data: bytes) -> _Object | None:
    """An object file; None for one that is of another kind. Raises struct.error or IndexError for one that is broken."""
    ident, kind, machine, _, _, _, at, _, _, _, _, size, count, _ = HEADER.unpack_from(data)
    if ident[:6] != b"\x7fELF\x02\x01" or (kind, machine, size) != (RELOCATABLE, X86_64, SECTION.size):
        return None
    heads = [SECTION.unpack_from(data, at + k * size) for k in range(count)]
    content = [data[h[4] : h[4] + h[5]] if h[1] != 8 else b"" for h in heads]
    symbols: list[_Symbol] = []
    for head, own in zip(heads, content, strict=True):
        if head[1] == SYMTAB:
            text = content[head[6]]
            for name, info, _, section, value, length in SYMBOL.iter_unpack(own):
                said = text[name : text.index(b"\0", name)].decode()
                symbols.append(_Symbol(said, section, value, length, info >> 4 != 0))
    places: list[list[tuple[int, int, int]]] = [[] for _ in heads]
    for head, own in zip(heads, content, strict=True):
        if head[1] == RELA:
            for where, what, further in PLACE.iter_unpack(own):
                # Of another kind than a whole address: marked, and refused where it matters.
                places[head[7]].append((where, what >> 32 if what & 0xFFFFFFFF == ADDRESS_64 else -1, further))
    sections = [_Section(h[1], h[2], c, max(h[8], 1), p) for h, c, p in zip(heads, content, places, strict=True)]
    return _Object(sections, symbols)


def joined(objects: Iterable[bytes], wanted: Collection[str], allowed: Collection[str]) -> Joined | None:
    """What `wanted` names and all it reaches, in one piece. None where that is more than sections that are only read, addresses
    of eight bytes and the `allowed` names from outside."""
    read = [one for one in map(_read, objects) if one is not None]
    starts, code = _laid(read)
    names = {
        s.name: (k, s) for k, one in reversed(list(enumerate(read))) for s in one.symbols if s.shared and s.section
    }
    if not all(name in names for name in wanted):
        return None
    todo = [names[name] for name in wanted]
    places: dict[int, list[int]] = {}
    calls: list[str] = []
    seen = set()
    while todo:
        k, symbol = todo.pop()
        span = (k, symbol.section, symbol.value, symbol.value + symbol.size)
        if span in seen:
            continue
        seen.add(span)
        if symbol.section >= len(read[k].sections) or not read[k].sections[symbol.section].plain:
            return None
        for where, number, further in read[k].sections[symbol.section].places:
            if not span[2] <= where < span[3]:
                continue
            if number < 0:
                return None
            target = read[k].symbols[number]
            owner = (k, target) if target.section else names.get(target.name)
            at = starts[k, symbol.section] + where
            if owner is None:
                if target.name not in allowed:
                    return None
                calls += [] if target.name in calls else [target.name]
                places[at] = [at, 1 + calls.index(target.name), further]
                continue
            reached = _reached(read[owner[0]], owner[1], further)
            if reached is None or (owner[0], reached.section) not in starts:
                return None
            todo.append((owner[0], reached))
            places[at] = [at, 0, starts[owner[0], owner[1].section] + owner[1].value + further]
    found = {name: starts[k, s.section] + s.value for name, (k, s) in ((n, names[n]) for n in wanted)}
    return Joined(code, found, [places[at] for at in sorted(places)], calls)


def _reached(one: _Object, symbol: _Symbol, further: int) -> _Symbol | None:
    """What an address leads to: a function, or the whole of a section of constants. None where that is unclear."""
    if symbol.section >= len(one.sections):
        return None
    section = one.sections[symbol.section]
    if not section.flags & EXECUTE:
        return _Symbol(symbol.name, symbol.section, 0, len(section.data), False)
    at = symbol.value + further
    inside = [s for s in one.symbols if s.section == symbol.section and s.size and s.value <= at < s.value + s.size]
    return inside[0] if inside else None


def _laid(objects: list[_Object]) -> tuple[dict[tuple[int, int], int], bytes]:
    """Where each section that is laid starts, by object and number, and all of them in one piece."""
    starts: dict[tuple[int, int], int] = {}
    code = bytearray()
    for k, one in enumerate(objects):
        for number, section in enumerate(one.sections):
            if section.plain and section.data:
                code += bytes(-len(code) % section.align)
                starts[k, number] = len(code)
                code += section.data
    return starts, bytes(code)

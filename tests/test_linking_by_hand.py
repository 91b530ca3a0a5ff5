"""Object files joined into one run of bytes: files written by hand, byte by byte.

What an object file is: System V Application Binary Interface, AMD64 Architecture Processor Supplement, and its generic part,
chapter 4.
"""

from __future__ import annotations

import struct

import pytest
from beltspring.sim import linking

PROGBITS, SYMTAB, STRTAB, RELA, NOBITS = 1, 2, 3, 4, 8
WRITE, ALLOC, EXECUTE = 1, 2, 4
TEXT = ALLOC | EXECUTE
WHOLE, COUNTED_FROM_HERE = 1, 2  # R_X86_64_64, R_X86_64_PC32
NOWHERE, SHARED, COMMON = 0, 1, 0xFFF2  # an undefined name; STB_GLOBAL; SHN_COMMON


def an_object(
    sections: list[tuple[int, int, bytes, int]],
    symbols: list[tuple[str, int, int, int, int]],
    places: dict[int, list[tuple[int, int, int, int]]] | None = None,
    kind: int = 1,
) -> bytes:
    """An object file. sections: (type, flags, content, alignment), numbered from 1.  symbols: (name, section, value, size,
    binding).  places: by section (where, number of a symbol, further on, kind of address).  kind: 1 is relocatable."""
    names = b"\0" + b"".join(name.encode() + b"\0" for name, *_ in symbols)
    at_name = [1 + sum(len(name) + 1 for name, *_ in symbols[:k]) for k in range(len(symbols))]
    table = b"".join(
        struct.pack("<IBBHQQ", at, shared << 4, 0, section, value, size)
        for at, (_, section, value, size, shared) in zip(at_name, symbols, strict=True)
    )
    count = len(sections)
    all_of = [(0, 0, b"", 0, 0, 0), *((t, f, c, a, 0, 0) for t, f, c, a in sections)]
    all_of += [(SYMTAB, 0, table, 8, count + 2, 0), (STRTAB, 0, names, 1, 0, 0)]
    for section, rows in (places or {}).items():
        made = b"".join(struct.pack("<QQq", where, symbol << 32 | how, more) for where, symbol, more, how in rows)
        all_of.append((RELA, 0, made, 8, count + 1, section))
    heads, body = b"", b""
    for what, flags, content, align, link, info in all_of:
        size = 64 if what == NOBITS else len(content)
        heads += struct.pack("<IIQQQQIIQQ", 0, what, flags, 0, 64 + len(body), size, link, info, align, 0)
        body += b"" if what == NOBITS else content
    head = struct.pack(
        "<16sHHIQQQIHHHHHH", b"\x7fELF\x02\x01\x01", kind, 62, 1, 0, 0, 64 + len(body), 0, 64, 0, 0, 64, len(all_of), 0
    )
    return head + body + heads


def joined(*objects: bytes, wanted: tuple[str, ...] = ("f",), allowed: tuple[str, ...] = ()) -> linking.Joined | None:
    return linking.joined(list(objects), wanted, allowed)


def test_sections_stand_one_after_the_other_where_their_alignment_lets_them():
    one = an_object([(PROGBITS, TEXT, b"abc", 1), (PROGBITS, ALLOC, b"0123", 16)], [("f", 1, 0, 3, SHARED)])
    two = an_object([(PROGBITS, 0, b"a remark", 1), (PROGBITS, TEXT, b"xyz", 4)], [("g", 2, 1, 2, SHARED)])
    made = joined(one, two, wanted=("f", "g"))
    assert made is not None
    assert made.code == b"abc" + bytes(13) + b"0123" + b"xyz"
    assert made.found == {"f": 0, "g": 21}
    assert (made.places, made.calls) == ([], [])


def test_a_section_that_needs_no_alignment_follows_at_once():
    """0 and 1 both say so (generic part, section header, sh_addralign)."""
    sections = [(PROGBITS, TEXT, text, align) for text, align in ((b"a", 1), (b"bc", 1), (b"d", 0), (b"e", 2))]
    made = joined(an_object(sections, [("f", 1, 0, 1, SHARED)]))
    assert made is not None
    assert made.code == b"abcde"


def test_what_is_never_read_from_the_file_or_is_written_to_is_not_laid():
    sections = [
        (NOBITS, ALLOC | WRITE, b"", 8), (PROGBITS, ALLOC | WRITE, b"data", 1), (PROGBITS, TEXT, b"code", 1), (7, ALLOC, b"n", 1),
    ]  # fmt: skip
    symbols = [("f", 3, 0, 4, SHARED), ("data", 2, 0, 4, SHARED), ("room", 1, 0, 8, SHARED), ("note", 4, 0, 1, SHARED)]
    made = joined(an_object(sections, symbols))
    assert made is not None
    assert made.code == b"code"
    for name in ("data", "room", "note", "nobody"):
        assert joined(an_object(sections, symbols), wanted=(name,)) is None


def test_a_name_is_that_of_the_first_object_that_shares_it():
    objects = [
        an_object([(PROGBITS, TEXT, text, 1)], [("f", 1, 0, 4, binding)])
        for text, binding in ((b"mine", 0), (b"one ", SHARED), (b"two ", SHARED))
    ]
    made = joined(*objects)
    assert made is not None
    assert made.found == {"f": 4}


def test_addresses_of_the_functions_that_are_reached_are_told_and_no_others():
    """f takes bytes 8 to 24, with an address at its first and one right behind it, which is g's."""
    text = bytes(48)
    symbols = [("", 2, 0, 0, 0), ("f", 1, 8, 16, SHARED), ("g", 1, 24, 16, SHARED), ("out", NOWHERE, 0, 0, SHARED)]
    numbers = (PROGBITS, ALLOC, bytes(32), 8)
    places = {1: [(0, 3, 0, WHOLE), (8, 0, 20, WHOLE), (16, 1, 3, WHOLE), (24, 3, -4, WHOLE), (40, 3, 0, WHOLE)]}
    one = an_object([(PROGBITS, TEXT, text, 16), numbers], symbols, places)
    made = joined(one)
    assert made is not None
    assert made.places == [[8, 0, 48 + 20], [16, 0, 8 + 3]], "the constants' section and f itself"
    assert made.calls == []
    assert joined(one, wanted=("g",)) is None, "it calls what nobody may"
    called = joined(one, wanted=("f", "g"), allowed=("out",))
    assert called is not None
    assert called.places == [[8, 0, 68], [16, 0, 11], [24, 1, -4]]
    assert called.calls == ["out"]


def test_what_is_called_from_outside_is_named_once_and_counted_from_one():
    symbols = [("f", 1, 0, 32, SHARED), ("sin", NOWHERE, 0, 0, SHARED), ("cos", NOWHERE, 0, 0, SHARED)]
    rows = [(0, 2, 0, WHOLE), (8, 1, 5, WHOLE), (16, 2, 0, WHOLE), (24, 1, 0, WHOLE)]
    one = an_object([(PROGBITS, TEXT, bytes(32), 16)], symbols, {1: rows})
    made = joined(one, allowed=("sin", "cos"))
    assert made is not None
    assert made.calls == ["cos", "sin"]
    assert made.places == [[0, 1, 0], [8, 2, 5], [16, 1, 0], [24, 2, 0]]
    assert joined(one, allowed=("sin",)) is None
    other = an_object([(PROGBITS, TEXT, b"sin of ours", 1)], [("sin", 1, 3, 8, SHARED)])
    both = joined(one, other, allowed=("cos",))
    assert both is not None
    assert both.calls == ["cos"]
    assert both.places[1] == [8, 0, 32 + 3 + 5]


@pytest.mark.parametrize(
    "rows",
    [
        [(0, 0, 0, COUNTED_FROM_HERE)],  # counted from where it stands
        [(0, 1, 0, WHOLE)],  # in a section that there is not
        [(0, 2, 0, WHOLE)],  # where no function is
        [(0, 3, 0, WHOLE)],  # of memory that is written to
    ],
)
def test_an_address_that_cannot_be_told_is_refused(rows):
    sections = [(PROGBITS, TEXT, bytes(32), 16), (PROGBITS, TEXT, bytes(8), 8), (PROGBITS, ALLOC | WRITE, bytes(8), 8)]
    common = len(sections) + 4  # the first number past the last: the empty one and three tables are sections too
    symbols = [("f", 1, 0, 8, SHARED), ("away", common, 0, 8, SHARED), ("", 2, 0, 0, 0), ("", 3, 0, 0, 0)]
    assert joined(an_object(sections, symbols, {1: rows})) is None
    assert joined(an_object(sections, symbols, {1: []})) is not None
    assert joined(an_object(sections, [("f", COMMON, 0, 8, SHARED)])) is None


def test_a_functions_own_addresses_are_followed_into_what_it_calls():
    """f calls into the middle of g, which ends where h begins; h reads constants that hold an address of their own."""
    symbols = [
        ("f", 1, 0, 8, SHARED), ("", 1, 0, 0, 0), ("g", 1, 8, 16, 0), ("h", 1, 24, 8, 0), ("", 2, 0, 0, 0),
        ("out", NOWHERE, 0, 0, SHARED),
    ]  # fmt: skip
    places = {1: [(0, 1, 12, WHOLE), (16, 1, 24, WHOLE), (24, 4, 8, WHOLE)], 2: [(8, 5, 0, WHOLE)]}
    one = an_object([(PROGBITS, TEXT, bytes(32), 16), (PROGBITS, ALLOC, bytes(16), 8)], symbols, places)
    made = joined(one, allowed=("out",))
    assert made is not None
    assert made.places == [[0, 0, 12], [16, 0, 24], [24, 0, 40], [40, 1, 0]]
    assert joined(one) is None


def test_files_of_another_kind_are_passed_over():
    good = an_object([(PROGBITS, TEXT, b"code", 1)], [("f", 1, 0, 4, SHARED)])
    shared = an_object([(PROGBITS, TEXT, b"code", 1)], [("f", 1, 0, 4, SHARED)], kind=3)
    small = good[:4] + b"\x01" + good[5:]  # of 32 bits
    assert joined(shared) is joined(small) is joined() is None
    made = joined(shared, small, good)
    assert made is not None
    assert made.found == {"f": 0}

"""PNG files with the settings that made them as text metadata, written whole or not at all.

Format: W3C Portable Network Graphics (Third Edition), 11.3.4.5 iTXt. pygame writes pixels but no text.
"""

from __future__ import annotations

import io
import os
import struct
import tempfile
import zlib
from collections.abc import Mapping
from pathlib import Path

import pygame

from ..files.rights import as_any_new_file


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png_bytes(image: pygame.Surface, words: Mapping[str, str]) -> bytes:
    """The image as PNG with one iTXt chunk (UTF-8) for each entry; a key has 1 to 79 Latin-1 letters."""
    memory = io.BytesIO()
    pygame.image.save(image, memory, "picture.png")
    plain = memory.getvalue()
    head = 8 + 4 + 4 + 13 + 4  # signature and IHDR
    chunks = b"".join(
        _chunk(b"iTXt", key.encode("latin-1")[:79] + b"\0\0\0\0\0" + value.encode("utf-8"))
        for key, value in words.items()
    )
    return plain[:head] + chunks + plain[head:]


def read_words(data: bytes) -> dict[str, str]:
    """The iTXt entries of a PNG file."""
    out, at = {}, 8
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        kind, body = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        if kind == b"iTXt":
            key, rest = body.split(b"\0", 1)
            out[key.decode("latin-1")] = rest[4:].decode("utf-8")
        at += 12 + length
    return out


def save_png(image: pygame.Surface, path: str | Path, words: Mapping[str, str]) -> Path:
    """Write the image beside its place and move it there; an existing file is replaced."""
    path = Path(path)
    data = png_bytes(image, words)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem}-", suffix=".png")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        as_any_new_file(name)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return path

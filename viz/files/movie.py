"""Frames into a film file, MP4 or GIF. The encoders are the extra `video`: av for MP4, Pillow for GIF."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Protocol

import pygame
from beltspring.sim import InputError

SIZES = {".mp4": (1280, 720), ".gif": (800, 450)}
FRAMES_S = {".mp4": 30, ".gif": 15}


class Encoder(Protocol):
    """Takes frames in order; `finish` completes the file."""

    def add(self, frame: pygame.Surface) -> None: ...

    def finish(self) -> None: ...


def need_encoder(suffix: str) -> None:
    """Raise InputError, naming what to install, where a kind of film cannot be written here."""
    if suffix not in SIZES:
        raise InputError(f"a film is written as .mp4 or .gif, not {suffix or 'without an ending'}")
    module = "av" if suffix == ".mp4" else "PIL"
    try:
        __import__(module)
    except ImportError:
        raise InputError(
            f"writing {suffix} needs the extra `video`, which is not installed: pip install 'beltspring[video]'"
        ) from None


def encoder(path: Path, size: tuple[int, int], frames_s: int, words: str) -> Encoder:
    """The encoder for a file's ending. size: of the frames, px.  words: kept in the file as a comment."""
    return (_Mp4 if path.suffix.lower() == ".mp4" else _Gif)(path, size, frames_s, words)


class _Mp4:
    def __init__(self, path: Path, size: tuple[int, int], frames_s: int, words: str) -> None:
        import av

        self._av: Any = av
        self._container = av.open(str(path), "w")
        self._container.metadata["comment"] = words
        self._stream: Any = self._container.add_stream("libx264", rate=frames_s)
        self._stream.width, self._stream.height = size
        self._stream.pix_fmt = "yuv420p"
        self._stream.options = {"crf": "18", "preset": "medium"}

    def add(self, frame: pygame.Surface) -> None:
        import numpy as np

        pixels = np.ascontiguousarray(pygame.surfarray.array3d(frame).transpose(1, 0, 2))
        for packet in self._stream.encode(self._av.VideoFrame.from_ndarray(pixels, format="rgb24")):
            self._container.mux(packet)

    def finish(self) -> None:
        for packet in self._stream.encode():
            self._container.mux(packet)
        self._container.close()


class _Gif:
    def __init__(self, path: Path, size: tuple[int, int], frames_s: int, words: str) -> None:
        self._path, self._frames_s, self._words = path, frames_s, words
        self._frames: list[Any] = []
        self._palette: Any = None

    def add(self, frame: pygame.Surface) -> None:
        from PIL import Image

        image = Image.frombytes("RGB", frame.get_size(), pygame.image.tobytes(frame, "RGB"))
        if self._palette is None:
            # One palette for all frames: colours stay put, and unchanged areas cost nothing.
            self._palette = image.quantize(colors=255, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
        self._frames.append(image.quantize(palette=self._palette, dither=Image.Dither.NONE))

    def finish(self) -> None:
        if self._frames:
            first, rest = self._frames[0], self._frames[1:]
            first.save(
                self._path,
                save_all=True,
                append_images=rest,
                duration=round(1000 / self._frames_s),
                loop=0,
                optimize=False,
                comment=self._words.encode("utf-8")[:250],
            )

"""Running the command line as a person does: in this process for speed, in another where the process itself matters."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass

import pytest
from beltspring.viz.cli import main


@dataclass
class Said:
    code: int
    out: str
    err: str


@pytest.fixture
def beltspring(capsys):
    """Call main(); what it returned and what it said."""

    def call(*arguments: str) -> Said:
        capsys.readouterr()
        code = main([str(a) for a in arguments])
        said = capsys.readouterr()
        return Said(code, said.out, said.err)

    return call


@pytest.fixture
def process(tmp_path):
    """Run the command in a process of its own, in an empty folder and without a screen."""

    def call(*arguments: str, **settings):
        hidden = ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER", "SDL_VIDEO_DRIVER")
        environment = {k: v for k, v in os.environ.items() if k not in hidden}
        environment.update(settings.pop("env", {}))
        code = settings.pop("code", "import sys; from beltspring.viz.cli import main; sys.exit(main())")
        command = [sys.executable, "-c", code, *arguments]
        settings.setdefault("stdout", subprocess.PIPE)
        settings.setdefault("stderr", subprocess.PIPE)
        return subprocess.Popen(command, env=environment, cwd=tmp_path, **settings)

    return call

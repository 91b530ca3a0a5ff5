"""Compiled code kept between runs: damaged anywhere, on a disk that fails at any operation, with no home, by two at once."""

from __future__ import annotations

import errno
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from beltspring.sim import caches

from tests.faults.inject import fail, in_child, kill

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="faults are put into a forked child")
CONTENT = bytes(range(256)) * 300


@pytest.fixture
def folder(tmp_path, monkeypatch) -> Path:
    """An empty cache folder."""
    monkeypatch.setenv("BELTSPRING_CACHE", str(tmp_path / "kernels"))
    monkeypatch.setattr(caches, "_troubles", [])
    return tmp_path / "kernels"


def keep_and_read() -> int:
    """Work: keep, read back. 0 when what is read is what was kept, or nothing; 1 for anything else."""
    caches.keep("code", CONTENT)
    return int(caches.kept("code") not in (CONTENT, None))


def test_killed_or_failed_at_any_operation_nothing_wrong_is_ever_read(folder):
    operations = in_child(keep_and_read, folder).operations
    assert operations >= 4
    for at in range(1, operations + 1):
        for fault in (kill, fail(errno.ENOSPC), fail(errno.EIO), fail(errno.EROFS)):
            ended = in_child(keep_and_read, folder, fault, at, ever_after=fault is not kill)
            assert ended.code == (-9 if fault is kill else 0), ended.said
            assert caches.kept("code") in (CONTENT, None)
    caches.keep("code", CONTENT)
    assert caches.kept("code") == CONTENT


def test_any_byte_that_falls_over_is_seen(folder):
    caches.keep("code", CONTENT)
    (path,) = folder.iterdir()
    whole, r = path.read_bytes(), random.Random(3)
    for _ in range(300):
        at = r.randrange(len(whole))
        damaged = bytearray(whole)
        damaged[at] ^= 1 << r.randrange(8)
        path.write_bytes(damaged if r.random() < 0.7 else whole[:at])
        assert caches.kept("code") is None
    path.write_bytes(whole)
    assert caches.kept("code") == CONTENT


def test_two_that_keep_the_same_at_once_leave_one_of_them_whole(folder):
    for _ in range(10):
        children = []
        for mark in b"ab":
            child = os.fork()
            if child == 0:
                caches.keep("code", bytes([mark]) * 1_000_000)
                os._exit(0)
            children.append(child)
        for child in children:
            os.waitpid(child, 0)
        assert caches.kept("code") in (b"a" * 1_000_000, b"b" * 1_000_000)
    assert [path.name for path in folder.iterdir()] == ["code.code"]


def test_a_folder_that_is_somebody_elses_is_neither_read_nor_written(folder):
    caches.keep("code", CONTENT)
    folder.chmod(0o777)
    assert caches.kept("code") is None
    caches.keep("more", CONTENT)
    assert [path.name for path in folder.iterdir()] == ["code.code"]
    assert "written by someone else" in (caches.trouble() or "")


def test_without_a_home_a_run_works_and_says_so(tmp_path):
    # Nobody, the superuser included, can make a folder in /proc.
    hidden = ("XDG_CACHE_HOME", "BELTSPRING_CACHE")
    environment = {k: v for k, v in os.environ.items() if k not in hidden} | {"HOME": "/proc/nowhere"}
    code = "import sys; from beltspring.viz.cli import main; sys.exit(main(['run', 'spring-mass']))"
    made = subprocess.run([sys.executable, "-c", code], env=environment, cwd=tmp_path, capture_output=True, text=True)
    assert made.returncode == 0, made.stderr
    assert "was compiled for this run only" in made.stderr
    assert "Traceback" not in made.stderr
    assert list(tmp_path.iterdir()) == []

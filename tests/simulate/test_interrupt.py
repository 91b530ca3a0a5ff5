"""Ctrl-C does not wait for the maker of machine code. No test looks at a clock: what is waited for would never end."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from concurrent.futures import CancelledError

import pytest
from beltspring.sim import compiling
from beltspring.sim.study.search.hands import Hands


class Endless:
    """Machine code that is not made before the test is over."""

    def __init__(self) -> None:
        self.begun, self.over = threading.Event(), threading.Event()

    def __call__(self) -> str:
        self.begun.set()
        assert self.over.wait(120)
        return "made"


@pytest.fixture
def endless():
    work = Endless()
    yield work
    work.over.set()


def test_what_is_made_aside_is_handed_on():
    assert compiling.made_aside(lambda: 7) == 7
    # What it needs in turn is made by the same thread: it holds the maker's lock.
    own = compiling.made_aside(lambda: (threading.current_thread(), compiling.made_aside(threading.current_thread)))
    assert own[0] is own[1] is not threading.current_thread()
    with pytest.raises(ZeroDivisionError):
        compiling.made_aside(lambda: 1 // 0)


def test_an_interrupt_does_not_wait_for_machine_code(endless):
    def press() -> None:
        assert endless.begun.wait(60)
        os.kill(os.getpid(), signal.SIGINT)

    other = threading.Thread(target=press)
    other.start()
    with pytest.raises(KeyboardInterrupt):
        compiling.made_aside(endless)
    other.join()
    assert not endless.over.is_set()


def test_threads_that_are_let_go_do_not_wait_either(endless):
    hands = Hands(workers=2)
    waiting = hands._executor.submit(compiling.made_aside, endless)
    assert endless.begun.wait(60)
    hands.close(at_once=True)
    with pytest.raises(CancelledError):
        waiting.result(timeout=60)
    assert not endless.over.is_set()


PROCESS = """
import os, signal, sys, threading, time
from beltspring.sim import compiling
from beltspring.viz.cli import main

before = compiling.made_aside

def made_aside(work):
    def endless():
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(1000)
    return before(endless)

compiling.made_aside = made_aside
sys.exit(main(["run", "spring-mass"]))
"""


def test_a_process_that_is_interrupted_while_it_compiles_ends(tmp_path):
    settings = dict(os.environ, BELTSPRING_CACHE=str(tmp_path / "cache"))
    made = subprocess.run(
        [sys.executable, "-c", PROCESS], env=settings, cwd=tmp_path, capture_output=True, text=True, timeout=120
    )
    assert (made.returncode, made.stdout, made.stderr) == (130, "", "interrupted\n")

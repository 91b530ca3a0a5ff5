"""Who does the work: threads of this process, processes beside it, or a cluster; behind one `concurrent.futures.Executor`.

A worker that dies takes nothing with it but what it was doing, and that is done again.
"""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from importlib import import_module
from typing import Any, TypeVar

from ...compiling import let_go
from ...errors import InputError, RunError

T = TypeVar("T")

#: A task that took so many workers with it is given up: it would take every one.
MOST_DEATHS = 3
#: So many tasks wait for each worker, so that none stands idle and little is lost.
AHEAD = 3


class Inline(Executor):
    """Does the work at once, in this thread."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """A future that is done."""
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:  # an interrupt goes through
            future.set_exception(error)
        return future


class Hands:
    """Does tasks in any order. workers: threads, 1: none.  cluster: "" | "local:N" | a scheduler's address.

    processes: workers are processes of their own. Threads won where parts change too (60 designs on two cores, desk-corexy: 5.4
    against 8.7 s at detail simple, 10.5 against 14.7 s at full, the first answer after 0.3 against 2.8 s): loops hold no lock.
    """

    def __init__(self, workers: int = 1, cluster: str = "", processes: bool = False) -> None:
        self.workers, self.cluster, self.processes = workers, cluster, processes
        self._client: Any = None
        self._own: Any = None
        self.deaths = 0
        self._executor = self._made()

    def _made(self) -> Executor:
        if self.cluster:
            return self._joined()
        if self.workers <= 1:
            return Inline()
        if not self.processes:
            return ThreadPoolExecutor(self.workers)
        # Spawned, not forked: a fork copies locks that threads of numba and of the window hold.
        return ProcessPoolExecutor(self.workers, multiprocessing.get_context("spawn"), initializer=_quiet)

    def _joined(self) -> Executor:
        try:
            distributed: Any = import_module("distributed")
        except ImportError:
            raise InputError(
                "--cluster needs dask.distributed: pip install 'beltspring[cluster]', or leave --cluster away"
            ) from None
        try:
            if self.cluster.startswith("local:"):
                count = int(self.cluster.removeprefix("local:"))
                if not 1 <= count <= 256:
                    raise ValueError
                self._own = distributed.LocalCluster(n_workers=count, threads_per_worker=1, dashboard_address=None)
                self.workers = count
            self._client = distributed.Client(self._own if self._own is not None else self.cluster, timeout=20)
            if self._own is None:
                self.workers = max(1, len(self._client.scheduler_info()["workers"]))
        except ValueError:
            raise InputError(f"--cluster {self.cluster[:40]}: write local:2, or a scheduler's address") from None
        except (OSError, TimeoutError) as error:
            raise InputError(f"--cluster {self.cluster[:60]}: no scheduler answers there ({error})") from None
        made: Executor = self._client.get_executor(pure=False)
        return made

    def done(self, call: Callable[..., T], work: Sequence[tuple[Any, ...]]) -> Iterator[tuple[int, T]]:
        """(number of the task, its result) of every task, as they come; what a dead worker held is done again.

        Raises RunError where a task kills every worker that takes it.
        """
        left = list(range(len(work)))[::-1]
        deaths = dict.fromkeys(range(len(work)), 0)
        held: dict[Future[T], int] = {}
        while left or held:
            while left and len(held) < AHEAD * max(1, self.workers):
                number = left.pop()
                try:
                    held[self._executor.submit(call, *work[number])] = number
                except BrokenProcessPool:
                    left.append(number)
                    if not held:
                        self._again()
                    break
            ended = wait(held, return_when=FIRST_COMPLETED).done if held else set()
            broken: list[int] = []
            for future in sorted(ended, key=held.__getitem__):
                number = held.pop(future)  # a result that is handed on is not kept here as well
                try:
                    found = future.result()
                except BrokenProcessPool:
                    broken.append(number)
                    continue
                yield number, found
            if broken:
                broken += list(held.values())
                held.clear()
                for number in broken:
                    deaths[number] += 1
                worst = max(broken, key=deaths.__getitem__)
                if deaths[worst] >= MOST_DEATHS * max(1, AHEAD):
                    raise RunError("workers die again and again; give them more memory, or use --workers 1")
                left += sorted(broken, reverse=True)
                self._again()

    def _again(self) -> None:
        """A new pool in place of a broken one."""
        self.deaths += 1
        self._executor.shutdown(wait=False, cancel_futures=True)
        self._executor = self._made()

    def close(self, at_once: bool = False) -> None:
        """Let the workers go. at_once: without waiting for what they are doing."""
        processes = list((getattr(self._executor, "_processes", None) or {}).values())
        if self._client is None:
            self._executor.shutdown(wait=not at_once, cancel_futures=True)
        if at_once:
            let_go(getattr(self._executor, "_threads", ()))
            for process in processes:
                process.terminate()
        for one in (self._client, self._own):
            if one is not None:
                with suppress(Exception):
                    one.close()

    def __enter__(self) -> Hands:
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        self.close(at_once=kind is not None)


def _quiet() -> None:
    """Ctrl-C is answered by the process that asked for the work, not by each worker with a page of its own."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)

"""Worker processes: each does one file at a time, under limits.

A worker that hangs is ended, one that dies is replaced, and which file it was at is always known.
"""

from __future__ import annotations

import math
import os
import signal
import threading
import time
from collections import deque
from collections.abc import Generator, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from multiprocessing import get_context, parent_process, resource_tracker
from multiprocessing.connection import Connection, wait

from restitch.errors import ExitCode, UsageError
from restitch.files import ReaderProcess
from restitch.files.child import limit_memory
from restitch.folder.jobs import Job
from restitch.folder.results import FileResult
from restitch.folder.work import Work, failure

_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""Threads of the number libraries: one in each worker, or workers stand in each other's way."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What the whole rescue of one file may use in a worker process (our choice)."""

    seconds: float = 600.0
    """Time on the clock."""
    memory_bytes: int = 4 << 30
    """Address space; no limit where the system knows none (Windows, macOS)."""


def in_workers(
    count: int, jobs: Iterable[Job], work: Work, limits: Limits
) -> Generator[FileResult]:
    """Run jobs in so many processes; yield results as they come.

    The next jobs are taken from ``jobs`` while the workers work. A job whose worker died is
    tried once more. Raises `UsageError` where no worker can be started.
    """
    queue, ahead, lost = iter(jobs), deque[Job](), set[str]()
    crew: list[_Worker] = []
    try:
        while True:
            ahead.extend(islice(queue, max(0, (count if crew else 1) - len(ahead))))
            _hand_out(crew, ahead)
            if len(crew) < count and len(ahead) > sum(worker.starting for worker in crew):
                crew.append(_Worker(work, limits))
                continue
            if not ahead and not any(worker.job for worker in crew):
                return
            for worker in _heard(crew):
                job = worker.job
                try:
                    result = worker.hear()
                except _LostError as error:
                    crew.remove(worker)
                    result = None
                    if job is not None and error.again and job.path not in lost:
                        lost.add(job.path)
                        ahead.append(job)
                    elif job is not None:
                        result = failure(job, f"{job.source}: {error}", ExitCode.NOT_WRITTEN)
                _hand_out(crew, ahead)  # before the result is noted: no worker waits for that
                if result is not None:
                    yield result
    finally:
        for worker in crew:
            worker.end()


class _LostError(Exception):
    """A worker is gone, and why."""

    def __init__(self, reason: str, *, again: bool) -> None:
        super().__init__(reason)
        self.again = again


class _Worker:
    """One process, and the job it is at."""

    def __init__(self, work: Work, limits: Limits) -> None:
        # Spawned on every system: a forked child would inherit locks and open files.
        context = get_context("spawn")
        self.job: Job | None = None
        self.free = False
        self.until = math.inf
        self._limits = limits
        self.connection, theirs = context.Pipe()
        self._process = context.Process(
            target=_serve, args=(theirs, work, limits.memory_bytes), daemon=True
        )
        with _one_thread_each(), _interrupts_held():
            self._process.start()
        theirs.close()

    @property
    def starting(self) -> bool:
        """True until it has said that it is there."""
        return self.job is None and not self.free

    def hand(self, job: Job) -> bool:
        """Give the worker a job; False where it has ended meanwhile."""
        try:
            self.connection.send(job)
        except OSError:
            return False
        self.job, self.free = job, False
        self.until = time.monotonic() + self._limits.seconds
        return True

    def hear(self) -> FileResult | None:
        """Return the result of its job, None where it has just started; raises `_LostError`."""
        try:
            result: FileResult | None = self.connection.recv() if self.connection.poll() else None
        except (EOFError, OSError):
            self.end()
            if self.starting:
                raise UsageError("no worker process can be started (out of memory?)") from None
            raise _LostError("its process ended (out of memory?)", again=True) from None
        if result is None and self.job is not None:
            self.end()
            raise _LostError(f"takes more than {self._limits.seconds:g} s; given up", again=False)
        self.job, self.free, self.until = None, True, math.inf
        return result

    def end(self) -> None:
        """End the process at once."""
        self._process.kill()
        self._process.join()
        self.connection.close()


def _hand_out(crew: list[_Worker], ahead: deque[Job]) -> None:
    for worker in crew:
        if ahead and worker.free and worker.hand(ahead[0]):
            ahead.popleft()


def _heard(crew: list[_Worker]) -> list[_Worker]:
    """Wait; return the workers that have something to say or have used up their time."""
    left = min(worker.until for worker in crew) - time.monotonic()
    spoken = wait([w.connection for w in crew], None if left == math.inf else max(0.0, left))
    now = time.monotonic()
    return [w for w in crew if w.connection in spoken or now >= w.until]


@contextmanager
def _one_thread_each() -> Iterator[None]:
    before = {name: os.environ.get(name) for name in _THREADS}
    os.environ.update({name: value or "1" for name, value in before.items()})
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """What is started here holds Ctrl-C back from its first moment; the run gets it afterwards."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    # its first start lets Ctrl-C through again, so it is started before
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve(connection: Connection, work: Work, memory_bytes: int) -> None:
    """Do jobs until the run closes the connection or is gone. Interrupts are left to the run."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    limit_memory(memory_bytes)
    connection.send(None)
    with ReaderProcess() as reader:
        while True:
            try:
                job = connection.recv()
            except EOFError:
                return
            connection.send(work(job, reader))


def _end_with_parent() -> None:
    """A worker whose run was killed writes nothing more."""
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)

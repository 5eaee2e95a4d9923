"""Where the work runs: in this process, in worker processes, or on a Dask cluster."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context, parent_process
from typing import Any

from restitch.errors import ExitCode, UsageError
from restitch.folder.jobs import Job
from restitch.folder.results import FileResult
from restitch.folder.work import Work, failure

Engine = Callable[[Iterable[Job], Work], Iterator[FileResult]]
"""Runs jobs and gives results as they come, in any order."""

AHEAD = 2
"""Jobs handed out for each worker: the next one waits ready, memory stays flat."""

CONNECT_SECONDS = 10
"""Time a scheduler has to answer."""

CLUSTER_AHEAD = 64
"""Jobs handed out to a cluster at a time."""


def engine(workers: int = 1, cluster: str | None = None) -> Engine:
    """Return the engine for so many worker processes, or for a scheduler's address."""
    if cluster is not None:
        return lambda jobs, work: _on_cluster(cluster, jobs, work)
    if workers <= 1:
        return lambda jobs, work: map(work, jobs)
    return lambda jobs, work: _in_processes(workers, jobs, work)


def _in_processes(workers: int, jobs: Iterable[Job], work: Work) -> Iterator[FileResult]:
    """Run in a pool. Where a worker dies, the files it may have died of run alone, once more."""
    queue = iter(jobs)
    while True:
        with _pool(workers) as pool:
            try:
                yield from _windowed(pool, queue, work, AHEAD * workers)
                return
            except PoolDiedError as died:
                suspects = died.jobs
        for job in suspects:
            with _pool(1) as alone:
                try:
                    yield alone.submit(work, job).result()
                except BrokenProcessPool:
                    reason = f"{job.source}: its process ended (out of memory?); nothing written"
                    yield failure(job, reason, ExitCode.UNREADABLE)


class PoolDiedError(Exception):
    """A worker ended; holds the jobs that were in flight."""

    def __init__(self, jobs: list[Job]) -> None:
        super().__init__()
        self.jobs = jobs


@contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    # spawned on every system: a forked child would inherit locks and open files
    pool = ProcessPoolExecutor(workers, get_context("spawn"), _follow_the_run)
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


def _follow_the_run() -> None:
    """Set a worker up: it leaves interrupts to the run, and ends when the run is killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _windowed(pool: Executor, queue: Iterator[Job], work: Work, ahead: int) -> Iterator[FileResult]:
    """Keep so many jobs in flight; yield results as they come."""
    flying: dict[Future[FileResult], Job] = {}
    for job in queue:
        try:
            flying[pool.submit(work, job)] = job
        except BrokenProcessPool:
            raise PoolDiedError([*flying.values(), job]) from None
        if len(flying) >= ahead:
            yield from _landed(flying)
    while flying:
        yield from _landed(flying)


def _landed(flying: dict[Future[FileResult], Job]) -> Iterator[FileResult]:
    done, _ = wait(flying, return_when=FIRST_COMPLETED)
    for future in sorted(done, key=lambda f: flying[f].path):
        try:
            result = future.result()
        except BrokenProcessPool:
            raise PoolDiedError(list(flying.values())) from None
        except Exception as error:  # the cluster gave the job up
            job = flying[future]
            text = f"{job.source}: the cluster gave it up ({type(error).__name__})"
            result = failure(job, text, ExitCode.UNREADABLE)
        del flying[future]
        yield result


def _on_cluster(address: str, jobs: Iterable[Job], work: Work) -> Iterator[FileResult]:
    """Run on a Dask cluster. It hands the jobs of a lost worker to another by itself."""
    try:
        import distributed
    except ImportError:
        raise UsageError("--cluster needs Dask: pip install 'restitch[cluster]'") from None
    try:
        connect: Any = distributed.Client  # typed or not, by what is installed
        client = connect(address, timeout=CONNECT_SECONDS)
    except (OSError, ValueError) as error:
        raise UsageError(f"--cluster {address}: no scheduler answers ({error})") from None
    with client, client.get_executor(pure=False) as pool:
        yield from _windowed(pool, iter(jobs), work, CLUSTER_AHEAD)

"""The same work on the machines of a Dask cluster."""

from __future__ import annotations

from collections.abc import Generator, Iterable
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from typing import Any

from restitch.errors import ExitCode, UsageError
from restitch.folder.jobs import Job
from restitch.folder.results import FileResult
from restitch.folder.work import Work, failure

CONNECT_SECONDS = 10
"""Time a scheduler has to answer."""

AHEAD = 64
"""Jobs handed out at a time: the next ones wait ready, memory stays flat."""


def on_cluster(address: str, jobs: Iterable[Job], work: Work) -> Generator[FileResult]:
    """Run on a Dask cluster; yield results as they come, in any order.

    It hands the jobs of a lost worker to another by itself, and limits its workers' memory.
    Raises `UsageError` where no scheduler answers.
    """
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
        yield from _windowed(pool, jobs, work)


def _windowed(pool: Executor, jobs: Iterable[Job], work: Work) -> Generator[FileResult]:
    """Keep so many jobs in flight; yield results as they come."""
    flying: dict[Future[FileResult], Job] = {}
    for job in jobs:
        flying[pool.submit(work, job)] = job
        if len(flying) >= AHEAD:
            yield from _landed(flying)
    while flying:
        yield from _landed(flying)


def _landed(flying: dict[Future[FileResult], Job]) -> Generator[FileResult]:
    done, _ = wait(flying, return_when=FIRST_COMPLETED)
    for future in sorted(done, key=lambda f: flying[f].path):
        job = flying.pop(future)
        try:
            result = future.result()
        except Exception as error:  # the cluster gave the job up
            text = f"{job.source}: the cluster gave it up ({type(error).__name__})"
            result = failure(job, text, ExitCode.NOT_WRITTEN)
        yield result

"""Where the work runs: in this process, in worker processes, or on a Dask cluster."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable

from restitch.files import ReaderProcess
from restitch.folder.cluster import on_cluster
from restitch.folder.jobs import Job
from restitch.folder.results import FileResult
from restitch.folder.work import Work
from restitch.folder.workers import Limits, in_workers

Engine = Callable[[Iterable[Job], Work], Generator[FileResult]]
"""Runs jobs and gives results as they come, in any order."""


def engine(workers: int = 1, cluster: str | None = None, limits: Limits | None = None) -> Engine:
    """Return the engine for so many worker processes, or for a scheduler's address.

    One worker without limits is this process.
    """
    if cluster is not None:
        return lambda jobs, work: on_cluster(cluster, jobs, work)
    if workers <= 1 and limits is None:
        return _here
    return lambda jobs, work: in_workers(workers, jobs, work, limits or Limits())


def _here(jobs: Iterable[Job], work: Work) -> Generator[FileResult]:
    with ReaderProcess() as reader:
        for job in jobs:
            yield work(job, reader)

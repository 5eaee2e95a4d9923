"""A whole folder: what must be done is decided by content, done once, and noted at once."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from restitch.errors import ExitCode, UnreadableError, WriteError
from restitch.files import clear_leftovers, make_folder
from restitch.folder.engines import Engine, engine
from restitch.folder.jobs import Job, check_folders, find_jobs
from restitch.folder.journal import Entry, Journal
from restitch.folder.results import FileResult, Summary
from restitch.folder.work import Rescue, Work, digest_or_none, failure, fingerprint
from restitch.folder.workers import Limits

if TYPE_CHECKING:
    from restitch.rescue_file import Settings

OnProgress = Callable[["Progress", FileResult], None]
"""Called after each file with what became of it."""

FILE_WEIGHT = 4096
"""Bytes that the work on any file is worth, besides its own: for the time left (our choice)."""


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a run is."""

    done: int
    """Files done, those of earlier runs among them."""
    total: int
    share: float
    """Share of this run's own work done, 0 to 1, by the size of the files."""


def fix_folder(
    source: Path,
    target: Path,
    settings: Settings,
    *,
    workers: int = 1,
    cluster: str | None = None,
    include: tuple[str, ...] = (),
    exclude: tuple[str, ...] = (),
    dry_run: bool = False,
    limits: Limits | None = None,
    on_progress: OnProgress | None = None,
    rescue: Rescue | None = None,
) -> Summary:
    """Rescue every stitch file of a folder into a folder of the same shape.

    A file that fails is a failed result and stops nothing. A second run does only what is
    missing or whose source, profile or version changed. Results are the same bytes for any
    number of workers. ``limits``: what the work on one file may use; without them, and with one
    worker, the work is done in this process. ``cluster``: address of a Dask scheduler whose
    workers see both folders. A dry run reads only. Where the journal can no longer be written
    (disk full), the summary says so and holds what was done. Raises `UsageError`,
    `UnreadableError` (no stitch files) or `WriteError` (the target folder cannot be used).
    """
    check_folders(source, target)
    jobs = find_jobs(source, target, include, exclude)
    if not jobs:
        raise UnreadableError(f"{source}: no stitch files here that match")
    jobs = _largest_first(jobs)
    told = _Told(jobs, on_progress)
    work = Work(settings, dry_run, rescue)
    run = engine(workers, cluster, limits)
    stopped = ""
    if dry_run:
        for result in run(jobs, work):
            told(result)
    else:
        make_folder(target)
        with Journal(target) as journal, cleared(jobs):
            try:
                with closing(do_jobs(jobs, journal, work, run)) as results:
                    for result in results:
                        told(result)
            except WriteError as error:
                stopped = str(error)
    return told.summary(stopped)


def _largest_first(jobs: tuple[Job, ...]) -> tuple[Job, ...]:
    """So that no worker is left alone with a long file at the end."""
    return tuple(sorted(jobs, key=lambda job: (-size_of(job.source), job.path)))


def size_of(path: Path) -> int:
    """Bytes of a file, 0 where that cannot be told."""
    try:
        return path.stat().st_size
    except OSError:
        return 0


@contextmanager
def cleared(jobs: tuple[Job, ...]) -> Iterator[None]:
    """Remove unfinished files from the target folders: those of an earlier run before, those of
    workers that were ended after."""
    folders = sorted({job.target.parent for job in jobs})
    for folder in folders:
        clear_leftovers(folder)
    try:
        yield
    finally:
        for folder in folders:
            clear_leftovers(folder)


class _Told:
    """Collects results and reports each."""

    def __init__(self, jobs: tuple[Job, ...], on_progress: OnProgress | None) -> None:
        self._results: list[FileResult] = []
        self._weights = {job.path: FILE_WEIGHT + size_of(job.source) for job in jobs}
        self._own = sum(self._weights.values())
        self._done = 0
        self._on_progress = on_progress

    def __call__(self, result: FileResult) -> None:
        self._results.append(result)
        weight = self._weights[result.path]
        if result.fresh:
            self._done += weight
        else:
            self._own -= weight
        if self._on_progress is not None:
            share = self._done / self._own if self._own else 1.0
            progress = Progress(len(self._results), len(self._weights), share)
            self._on_progress(progress, result)

    def summary(self, stopped: str) -> Summary:
        """The account so far."""
        results = tuple(sorted(self._results, key=lambda r: r.path))
        return Summary(results, len(self._weights) - len(results), stopped)


def do_jobs(
    jobs: tuple[Job, ...], journal: Journal, work: Work, run: Engine
) -> Generator[FileResult]:
    """Do what the journal does not know as done; yield a result for every job."""
    key = fingerprint(work.settings)
    hashes: dict[str, str] = {}
    targets = {job.path: job.target for job in jobs}
    settled: list[FileResult] = []

    def queue() -> Iterator[Job]:
        for job in jobs:
            ready = _decide(job, journal.entries.get(job.path), key, work, hashes)
            if isinstance(ready, FileResult):
                settled.append(ready)
                continue
            journal.begin(job.path, key, hashes[job.path])
            yield ready

    with closing(run(queue(), work)) as results:
        for result in results:
            yield from _drained(settled)
            if result.failed:  # what is there now is an earlier result of ours
                there = digest_or_none(targets[result.path])
                result = replace(result, target_sha256=there or "")
            journal.finish(result, key, hashes[result.path])
            yield result
    yield from _drained(settled)


def _drained(settled: list[FileResult]) -> Iterator[FileResult]:
    while settled:
        yield settled.pop(0)


def _decide(
    job: Job, entry: Entry | None, key: str, work: Work, hashes: dict[str, str]
) -> Job | FileResult:
    """The job to run, or the result that is known without running it."""
    now = digest_or_none(job.source)
    if now is None:
        return failure(job, f"{job.source}: cannot be read", ExitCode.UNREADABLE)
    hashes[job.path] = now
    there = digest_or_none(job.target)
    known = entry.result if entry else None
    if entry and known and (entry.key, entry.source_sha256) == (key, now):
        if known.failed and known.exit_code != ExitCode.NOT_WRITTEN:
            return known
        if not known.failed and there == known.target_sha256:
            return known
    if there is not None and not work.settings.replace and not _is_ours(entry, there):
        return failure(job, _exists(job), ExitCode.NOT_WRITTEN)
    try:
        make_folder(job.target.parent)
    except WriteError as error:
        return failure(job, str(error), ExitCode.NOT_WRITTEN)
    # Nothing of the user's is at the target: a job that is run twice (its worker died) may
    # replace what its first run wrote.
    return replace(job, replace=True)


def _is_ours(entry: Entry | None, there: str) -> bool:
    """Whether the file at the target is what an earlier run wrote (or was writing)."""
    if entry is None:
        return False
    return entry.result is None or entry.result.target_sha256 == there


def _exists(job: Job) -> str:
    return (
        f"{job.target}: exists already and was not written by a run of this folder; "
        "--replace allows it to be replaced"
    )

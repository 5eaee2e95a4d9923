"""A whole folder: what must be done is decided by content, done once, and noted at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from restitch.errors import ExitCode, UnreadableError, WriteError
from restitch.files import clear_leftovers
from restitch.folder.engines import Engine, engine
from restitch.folder.jobs import Job, check_folders, find_jobs
from restitch.folder.journal import Entry, Journal
from restitch.folder.results import FileResult, Summary
from restitch.folder.work import Rescue, Work, digest_or_none, failure, fingerprint

if TYPE_CHECKING:
    from restitch.rescue_file import Settings

OnProgress = Callable[[int, int, FileResult], None]
"""Called after each file: files done, files in all, what became of this one."""


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
    on_progress: OnProgress | None = None,
    rescue: Rescue | None = None,
) -> Summary:
    """Rescue every stitch file of a folder into a folder of the same shape.

    A file that fails is a failed result and stops nothing. A second run does only what is
    missing or whose source, profile or version changed. Results are the same bytes for any
    number of workers. ``cluster``: address of a Dask scheduler whose workers see both folders.
    A dry run reads only. Raises `UsageError`, `UnreadableError` (no stitch files) or
    `WriteError` (the target folder itself cannot be used).
    """
    check_folders(source, target)
    jobs = find_jobs(source, target, include, exclude)
    if not jobs:
        raise UnreadableError(f"{source}: no stitch files here that match")
    told = _Progress(len(jobs), on_progress)
    work = Work(settings, dry_run, rescue)
    run = engine(workers, cluster)
    if dry_run:
        for result in run(jobs, work):
            told(result)
    else:
        make_folder(target)
        with Journal(target) as journal:
            _clear(jobs)
            for result in do_jobs(jobs, journal, work, run):
                told(result)
            _clear(jobs)  # a worker that died may have left one behind
    return Summary(tuple(sorted(told.results, key=lambda r: r.path)))


def _clear(jobs: tuple[Job, ...]) -> None:
    """Remove unfinished files of this or an earlier run from the target folders."""
    for folder in sorted({job.target.parent for job in jobs}):
        clear_leftovers(folder)


class _Progress:
    """Collects results and reports each."""

    def __init__(self, total: int, on_progress: OnProgress | None) -> None:
        self.results: list[FileResult] = []
        self._total = total
        self._on_progress = on_progress

    def __call__(self, result: FileResult) -> None:
        self.results.append(result)
        if self._on_progress is not None:
            self._on_progress(len(self.results), self._total, result)


def do_jobs(
    jobs: tuple[Job, ...], journal: Journal, work: Work, run: Engine
) -> Iterator[FileResult]:
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

    for result in run(queue(), work):
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


def make_folder(folder: Path) -> None:
    """Make a folder with its parents; raises `WriteError`."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise WriteError(f"{folder}: cannot be made ({reason})") from None

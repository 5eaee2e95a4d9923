"""A drop folder: files are rescued as they arrive. Polling only, so network shares work."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from restitch.errors import ExitCode, UnreadableError
from restitch.files import make_folder
from restitch.folder.engines import engine
from restitch.folder.jobs import Job, check_folders, find_jobs
from restitch.folder.journal import Journal
from restitch.folder.results import FileResult
from restitch.folder.run import cleared, do_jobs
from restitch.folder.work import Rescue, Work
from restitch.folder.workers import Limits

if TYPE_CHECKING:
    from restitch.rescue_file import Settings

State = tuple[int, int]
"""Size and time of change of a file."""

POLL_SECONDS = 2.0
QUIET_POLLS = 2
"""Looks in a row at which a file must not have changed before it counts as complete."""

RETRY_POLLS = 30
"""Looks after which a result that could not be written is tried again (our choice)."""


def watch(
    source: Path,
    target: Path,
    settings: Settings,
    *,
    workers: int = 1,
    include: tuple[str, ...] = (),
    exclude: tuple[str, ...] = (),
    poll_seconds: float = POLL_SECONDS,
    polls: int | None = None,
    limits: Limits | None = None,
    on_result: Callable[[FileResult], None] | None = None,
    sleep: Callable[[float], None] = time.sleep,
    rescue: Rescue | None = None,
) -> None:
    """Rescue files that arrive in a folder, until interrupted (or for so many polls).

    Nothing is moved or deleted. A file is done when its size and time have stood still, and again
    only when they change. A source folder that is away for a while (a share) is waited for.
    Results are noted in the journal of the target folder, as by `fix_folder`.
    """
    check_folders(source, target)
    make_folder(target)
    drop = _Drop(source, target, include, exclude)
    work, run = Work(settings, rescue=rescue), engine(workers, limits=limits)
    with Journal(target) as journal:
        while polls is None or polls > 0:
            jobs = drop.complete()
            with cleared(jobs), closing(do_jobs(jobs, journal, work, run)) as results:
                for result in results:
                    if drop.is_news(result) and on_result is not None:
                        on_result(result)
            polls = None if polls is None else polls - 1
            if polls != 0:
                sleep(poll_seconds)


class _Drop:
    """What is known of the files in the drop folder from one look to the next."""

    def __init__(
        self, source: Path, target: Path, include: tuple[str, ...], exclude: tuple[str, ...]
    ) -> None:
        self._where = (source, target, include, exclude)
        self._seen: dict[str, tuple[State, int]] = {}
        """Last state of each file and the looks at which it stood still."""
        self._unwritten: dict[str, str] = {}
        """Why results could not be written, as it was told."""

    def is_news(self, result: FileResult) -> bool:
        """Take note of a result; tell whether the user does not know it yet.

        One that could not be written (disk full) is tried again after a while, and told again
        only when something else comes of it.
        """
        if result.failed and result.exit_code == ExitCode.NOT_WRITTEN:
            state, _ = self._seen[result.path]
            self._seen[result.path] = (state, QUIET_POLLS - RETRY_POLLS)
            known = self._unwritten.get(result.path)
            self._unwritten[result.path] = result.reason
            return known != result.reason
        self._unwritten.pop(result.path, None)
        return result.fresh

    def complete(self) -> tuple[Job, ...]:
        """Look once; return the files that have just become complete."""
        ready = []
        seen: dict[str, tuple[State, int]] = {}
        for job in self._jobs():
            state = _state(job.source)
            if state is None:
                continue
            before, quiet = self._seen.get(job.path, (None, 0))
            quiet = quiet + 1 if state == before else 0
            seen[job.path] = (state, quiet)
            if quiet == QUIET_POLLS and state[0] > 0:
                ready.append(job)
        self._seen = seen
        return tuple(ready)

    def _jobs(self) -> tuple[Job, ...]:
        try:
            return find_jobs(*self._where)
        except (OSError, UnreadableError):
            return ()


def _state(path: Path) -> State | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns

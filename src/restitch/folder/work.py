"""The work on one file, wherever it runs: always a result, never an exception."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from restitch.errors import ExitCode, RestitchError
from restitch.folder.jobs import Job
from restitch.folder.results import FAILED, TOTALS, FileResult

if TYPE_CHECKING:
    from restitch.files import ReaderProcess
    from restitch.report.model import Report
    from restitch.rescue_file import Settings

Rescue = Callable[..., Any]
"""``rescue_file`` or what stands in for it:
(source, target, settings, dry_run=, reader=) -> outcomes."""


@dataclass(frozen=True, slots=True)
class Work:
    """What is done to every file; can be sent to another process or machine."""

    settings: Settings
    dry_run: bool = False
    rescue: Rescue | None = None
    """None: `restitch.rescue_file.rescue_file`."""

    def __call__(self, job: Job, reader: ReaderProcess | None = None) -> FileResult:
        """Return what became of the file. Only an interrupt gets out."""
        try:
            settings = replace(self.settings, replace=job.replace)
            found = self._rescue()(
                job.source, job.target, settings, dry_run=self.dry_run, reader=reader
            )
            return _told(job, found.report)
        except RestitchError as error:
            return failure(job, str(error), error.exit_code)
        except MemoryError:
            return failure(job, f"{job.source}: not enough memory", ExitCode.NOT_WRITTEN)
        except Exception as error:  # one bad file never stops the run
            text = " ".join(f"{type(error).__name__}: {error}".split())
            return failure(job, f"{job.source}: internal error ({text})", ExitCode.UNREADABLE)
        finally:
            _forget()

    def _rescue(self) -> Rescue:
        if self.rescue is not None:
            return self.rescue
        from restitch.rescue_file import rescue_file

        return rescue_file


def _forget() -> None:
    """Drop the shapes kept for this file: they are of no use to the next, and memory stays flat."""
    from restitch.geometry import ladder_of, outline_of

    ladder_of.cache_clear()
    outline_of.cache_clear()


def failure(job: Job, reason: str, code: ExitCode) -> FileResult:
    """The result of a file that could not be done."""
    return FileResult(job.path, FAILED, reason=reason, exit_code=int(code))


def _told(job: Job, report: Report) -> FileResult:
    from restitch.report.document import saved

    return FileResult(
        path=job.path,
        outcome=report.outcome.value,
        source_sha256=report.source.sha256,
        target_sha256=report.output.sha256 if report.output else "",
        saved={k: v for k, v in saved(report.before, report.after).items() if k in TOTALS},
        changes=len(report.applied),
        warnings=report.warnings,
    )


def fingerprint(settings: Settings) -> str:
    """Return a key that changes when the version, the profile or the decisions change.

    Where a value was written down (`Profile.sources`) does not matter.
    """
    from restitch import __version__

    fabric = replace(settings.profile.fabric, sources={})
    profile = replace(settings.profile, fabric=fabric, sources={})
    text = json.dumps(
        [__version__, _plain(profile), _plain(settings.decisions), _plain(settings.threads)],
        sort_keys=True,
    )
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def _plain(value: Any) -> Any:
    """The value as JSON types, sets sorted, so that equal values give equal text."""
    if hasattr(value, "__dataclass_fields__"):
        return {name: _plain(getattr(value, name)) for name in value.__dataclass_fields__}
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, frozenset | set):
        return sorted(_plain(v) for v in value)
    if isinstance(value, tuple | list):
        return [_plain(v) for v in value]
    return value if isinstance(value, str | int | float | bool | None) else str(value)


def digest_or_none(path: Path) -> str | None:
    """SHA-256 of a file, or None where it cannot be read."""
    from restitch.files import digest

    try:
        return digest(path)
    except OSError:
        return None

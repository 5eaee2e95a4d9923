"""What became of each file, and of the folder."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from restitch.errors import ExitCode

FIXED, SOUND, PREVIEW, FAILED = "fixed", "already sound", "preview", "failed"

TOTALS = ("stitches", "trims", "colour_changes", "jumps", "jump_mm", "minutes", "needle_m")
"""Savings kept for each file and summed over a folder."""


@dataclass(frozen=True, slots=True)
class FileResult:
    """What became of one file."""

    path: str
    """Place in the folder, with ``/`` on every system."""
    outcome: str
    """``fixed``, ``already sound``, ``preview`` or ``failed``."""
    reason: str = ""
    """Why it failed, in one line."""
    exit_code: int = 0
    """What the command would have returned for this file alone."""
    source_sha256: str = ""
    target_sha256: str = ""
    saved: Mapping[str, float] = field(default_factory=dict)
    """Before less after, by figure."""
    changes: int = 0
    """Changes applied."""
    warnings: tuple[str, ...] = ()
    fresh: bool = True
    """False: done in an earlier run, nothing to do."""

    @property
    def failed(self) -> bool:
        """True where no result could be had."""
        return self.outcome == FAILED

    def document(self) -> dict[str, Any]:
        """The result as plain JSON types."""
        return {**asdict(self), "warnings": list(self.warnings)}


@dataclass(frozen=True, slots=True)
class Summary:
    """The account of a folder run."""

    results: tuple[FileResult, ...]
    """Sorted by place."""
    left: int = 0
    """Files that the run did not come to."""
    stopped: str = ""
    """Why it did not, in one line."""

    @property
    def total(self) -> int:
        """Files that were to be done."""
        return len(self.results) + self.left

    @property
    def counts(self) -> dict[str, int]:
        """Files by outcome."""
        return dict(sorted(Counter(r.outcome for r in self.results).items()))

    @property
    def failures(self) -> tuple[FileResult, ...]:
        """The files that failed."""
        return tuple(r for r in self.results if r.failed)

    @property
    def saved(self) -> dict[str, float]:
        """Savings summed over all files."""
        found = {key for r in self.results for key in r.saved}
        return {
            key: round(sum(r.saved.get(key, 0.0) for r in self.results), 3)
            for key in TOTALS
            if key in found
        }

    @property
    def exit_code(self) -> ExitCode:
        """0; 1 where files failed; 4 where the run could not go on."""
        if self.stopped:
            return ExitCode.NOT_WRITTEN
        return ExitCode.FINDINGS if self.failures else ExitCode.DONE

    def document(self) -> dict[str, Any]:
        """The account as plain JSON types."""
        return {
            "schema": 1,
            "total": self.total,
            "left": self.left,
            "stopped": self.stopped,
            "files": [r.document() for r in self.results],
            "counts": self.counts,
            "unchanged_since_last_run": sum(not r.fresh for r in self.results),
            "saved": self.saved,
        }

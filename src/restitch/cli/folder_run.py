"""Folder commands: progress while it runs, a summary at the end."""

from __future__ import annotations

import json as json_module
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from restitch.errors import UsageError
from restitch.folder import FileResult, Summary, fix_folder, watch
from restitch.rescue_file import Settings

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID


def run_folder(
    source: Path,
    target: Path,
    settings: Settings,
    *,
    dry_run: bool,
    json: bool,
    report: Path | None,
    workers: int,
    include: tuple[str, ...],
    exclude: tuple[str, ...],
    cluster: str | None,
) -> None:
    """Rescue a folder, print its summary; exit 1 when files failed."""
    if report is not None:
        raise UsageError("--report is for one file; a folder's account is the summary or --json")
    with _Teller() as teller:
        summary = fix_folder(
            source,
            target,
            settings,
            workers=workers,
            cluster=cluster,
            include=include,
            exclude=exclude,
            dry_run=dry_run,
            on_progress=teller.told,
        )
    if json:
        print(json_module.dumps(summary.document(), indent=1, ensure_ascii=True))
    else:
        print("\n".join(summary_lines(summary)))
    if summary.exit_code:
        sys.exit(int(summary.exit_code))


def run_watch(
    source: Path,
    target: Path,
    settings: Settings,
    *,
    workers: int,
    include: tuple[str, ...],
    exclude: tuple[str, ...],
    poll_seconds: float,
) -> None:
    """Rescue files as they arrive, a line for each, until interrupted."""
    print(f"watching {source}; results go to {target}; Ctrl-C ends it", flush=True)
    watch(
        source,
        target,
        settings,
        workers=workers,
        include=include,
        exclude=exclude,
        poll_seconds=poll_seconds,
        on_result=lambda result: print(line_of(result), flush=True),
    )


def line_of(result: FileResult) -> str:
    """One line about one file."""
    if result.failed:
        return f"failed: {result.reason}"
    text = f"{result.outcome}: {result.path}"
    if not result.fresh:
        return f"{text} (done before)"
    stitches = int(result.saved.get("stitches", 0))
    return f"{text}, {stitches:+,} stitches saved" if result.changes else text


def summary_lines(summary: Summary) -> list[str]:
    """The summary in plain lines: counts, savings, and every failure with its reason."""
    counts = ", ".join(f"{count} {outcome}" for outcome, count in summary.counts.items())
    before = sum(not r.fresh for r in summary.results)
    lines = [
        f"{len(summary.results)} files: {counts}" + (f" ({before} done before)" if before else "")
    ]
    saved = summary.saved
    if saved:
        lines.append(
            f"saved: {saved.get('stitches', 0):,.0f} stitches, {saved.get('trims', 0):,.0f} trims, "
            f"{saved.get('colour_changes', 0):,.0f} colour changes, "
            f"{saved.get('minutes', 0):,.1f} machine minutes"
        )
    lines += [f"failed: {r.reason}" for r in summary.failures]
    return lines


class _Teller:
    """Progress on standard error: a bar with the remaining time on terminals, else lines."""

    def __init__(self) -> None:
        self._bar: Progress | None = None
        self._task: TaskID | None = None

    def __enter__(self) -> _Teller:
        if sys.stderr.isatty():
            from rich.console import Console
            from rich.progress import Progress

            self._bar = Progress(console=Console(stderr=True), transient=True)
            self._bar.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()

    def told(self, done: int, total: int, result: FileResult) -> None:
        """Show that one more file is done."""
        if self._bar is None:
            print(f"[{done}/{total}] {line_of(result)}", file=sys.stderr, flush=True)
            return
        if self._task is None:
            self._task = self._bar.add_task("rescuing", total=total)
        self._bar.update(self._task, completed=done, description=result.path[-40:])

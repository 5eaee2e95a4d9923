"""Folders on the command line: progress, summary, exit code."""

from __future__ import annotations

import json as json_module
import sys
import time
from collections.abc import Callable
from pathlib import Path

from restitch.folder import FileResult, Summary, watch
from restitch.folder import fix_folder as run
from restitch.rescue_file import Settings


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
    """Rescue a folder, print its account and exit with its code."""
    from restitch.report.folder_page import PageMaker, write_folder_page

    pages = PageMaker(source, report) if report is not None and not dry_run else None
    with _Progress() as progress:
        summary = run(
            source,
            target,
            settings,
            workers=workers,
            cluster=cluster,
            include=include,
            exclude=exclude,
            dry_run=dry_run,
            on_progress=progress,
            rescue=pages,
        )
    if pages is not None and report is not None:
        write_folder_page(summary, source, pages, report, replace=settings.replace)
    if json:
        print(json_module.dumps(summary.document(), indent=1))
    else:
        _print_summary(summary, dry_run)
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
    polls: int | None = None,
) -> None:
    """Watch a folder until interrupted; one line for each file."""
    print(f"watching {source}; results go to {target}; stop with Ctrl-C", file=sys.stderr)
    watch(
        source,
        target,
        settings,
        workers=workers,
        include=include,
        exclude=exclude,
        poll_seconds=poll_seconds,
        polls=polls,
        on_result=lambda result: print(line_of(result), flush=True),
    )


def line_of(result: FileResult) -> str:
    """Return what became of one file in one line."""
    if result.failed:
        return f"failed   {result.reason}"
    saved = result.saved.get("stitches", 0)
    words = f", {saved:,.0f} stitches saved" if saved else ""
    again = "" if result.fresh else " (done before)"
    return f"{result.outcome:8s} {result.path}{words}{again}"


class _Progress:
    """A bar with the remaining time on a terminal, plain lines when piped."""

    def __init__(self) -> None:
        self._begun = time.monotonic()
        self._bar: Callable[[int, int], None] | None = None

    def __enter__(self) -> _Progress:
        if sys.stderr.isatty():
            self._bar = self._start_bar()
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._live.stop()

    def _start_bar(self) -> Callable[[int, int], None]:
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

        self._live = Progress(
            BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(), console=Console(stderr=True)
        )
        task = self._live.add_task("files", total=None)
        self._live.start()
        return lambda done, total: self._live.update(task, completed=done, total=total)

    def __call__(self, done: int, total: int, result: FileResult) -> None:
        if self._bar is not None:
            self._bar(done, total)
            if result.failed:
                self._live.console.print(line_of(result), markup=False, highlight=False)
            return
        spent = time.monotonic() - self._begun
        left = spent / done * (total - done)
        print(f"{done}/{total} {line_of(result)} ({left:.0f} s left)", file=sys.stderr, flush=True)


def _print_summary(summary: Summary, dry_run: bool) -> None:
    for failed in summary.failures:
        print(line_of(failed))
    counts = ", ".join(f"{n} {word}" for word, n in summary.counts.items())
    print(f"{len(summary.results)} files: {counts}{'; nothing written' if dry_run else ''}")
    for key, value in summary.saved.items():
        print(f"  saved {value:,.1f} {key.replace('_', ' ')}")

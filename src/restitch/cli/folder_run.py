"""Folders on the command line: progress, summary, exit code."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from restitch.cli.json_text import print_json
from restitch.cli.run import check_page
from restitch.folder import FileResult, Limits, Progress, Summary, watch
from restitch.folder import fix_folder as run
from restitch.report.model import counted
from restitch.rescue_file import Settings

INTERRUPTED = 130
"""Exit code after Ctrl-C (128 + SIGINT, the custom of POSIX shells)."""


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

    if report is not None and not dry_run:
        check_page(report, source, target, settings)
    pages = PageMaker(source, report) if report is not None and not dry_run else None
    with _told_when_interrupted("run again to go on"), _Progress() as progress:
        summary = run(
            source,
            target,
            settings,
            workers=workers,
            cluster=cluster,
            include=include,
            exclude=exclude,
            dry_run=dry_run,
            limits=Limits(),
            on_progress=progress,
            rescue=pages,
        )
    if json:
        print_json(summary.document())
    else:
        _print_summary(summary, dry_run)
    if summary.stopped:
        print(f"restitch: {summary.left} files left: {summary.stopped}", file=sys.stderr)
    if pages is not None and report is not None:  # last: the account is told in any case
        pages.clear()
        write_folder_page(summary, source, pages, report, replace=settings.replace)
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
    with _told_when_interrupted("start again to go on"):
        watch(
            source,
            target,
            settings,
            workers=workers,
            include=include,
            exclude=exclude,
            poll_seconds=poll_seconds,
            polls=polls,
            limits=Limits(),
            on_result=lambda result: print(line_of(result), flush=True),
        )


@contextmanager
def _told_when_interrupted(advice: str) -> Iterator[None]:
    try:
        yield
    except KeyboardInterrupt:
        print(f"restitch: stopped; what was done is kept, {advice}", file=sys.stderr)
        sys.exit(INTERRUPTED)


def line_of(result: FileResult) -> str:
    """Return what became of one file in one line: outcome, place in the folder, figures."""
    if result.failed:
        words = f"{result.path}: {_reason_alone(result)}"
        again = "" if result.fresh else " (failed before, not changed since)"
    else:
        words = result.path + _stitches_words(result.saved.get("stitches", 0.0))
        again = "" if result.fresh else " (done before)"
    return f"{result.outcome:13s} {words}{again}"


def _reason_alone(result: FileResult) -> str:
    """The reason without the name of the file it begins with."""
    for name in (result.path, Path(result.path).name):
        before, found, after = result.reason.partition(f"{name}: ")
        if found and ": " not in before:
            return after
    return result.reason


def _stitches_words(saved: float) -> str:
    if not saved:
        return ""
    return f", {abs(saved):,.0f} stitches {'fewer' if saved > 0 else 'more'}"


class _Progress:
    """A bar with the remaining time on a terminal, plain lines when piped."""

    def __init__(self) -> None:
        self._begun = time.monotonic()
        self._bar: Callable[[Progress], None] | None = None

    def __enter__(self) -> _Progress:
        if sys.stderr.isatty():
            self._bar = self._start_bar()
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._live.stop()

    def _start_bar(self) -> Callable[[Progress], None]:
        from rich import progress
        from rich.console import Console

        self._live = progress.Progress(
            progress.BarColumn(),
            progress.TextColumn("{task.description}"),
            console=Console(stderr=True),
        )
        task = self._live.add_task("starting", total=1.0)
        self._live.start()

        def show(state: Progress) -> None:
            text = f"{state.done}/{state.total} files, {self._left(state)}"
            self._live.update(task, completed=state.share, description=text)

        return show

    def _left(self, state: Progress) -> str:
        """The time left in words, by the share of the work that is done."""
        spent = time.monotonic() - self._begun
        left = spent / state.share * (1.0 - state.share) if state.share else 0.0
        return f"{duration(left)} left"

    def __call__(self, state: Progress, result: FileResult) -> None:
        if self._bar is not None:
            self._bar(state)
            if result.failed:
                self._live.console.print(
                    line_of(result), markup=False, highlight=False, soft_wrap=True
                )
            return
        line = f"{state.done}/{state.total} {line_of(result)} ({self._left(state)})"
        print(line, file=sys.stderr, flush=True)


def duration(seconds: float) -> str:
    """Return a time as ``45 s``, ``12 min`` or ``3 h 05 min``."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02d} min"


TOTALS = {
    "minutes": ("minutes of machine time", 1),
    "trims": ("trims", 0),
    "colour_changes": ("colour changes", 0),
    "stitches": ("stitches", 0),
    "jumps": ("jumps", 0),
    "jump_mm": ("m of jumps", 1),
    "needle_m": ("m of needle thread", 1),
}
"""Totals in the order in which they matter to a shop: words and decimals."""


def _print_summary(summary: Summary, dry_run: bool) -> None:
    for failed in summary.failures:
        print(line_of(failed))
    known = sum(not r.fresh for r in summary.results)
    counts = ", ".join(f"{n} {word}" for word, n in summary.counts.items())
    before = f" ({known} of them in an earlier run)" if known else ""
    print(f"{counted(summary.total, 'file')}: {counts or 'none done'}{before}")
    if dry_run:
        print("nothing was written")
    for line in _total_lines(summary):
        print(line)


def _total_lines(summary: Summary) -> Iterator[str]:
    for key, (words, decimals) in TOTALS.items():
        value = summary.saved.get(key, 0.0) / (1000.0 if key == "jump_mm" else 1.0)
        text = f"{abs(value):,.{decimals}f}"
        if text.strip("0.,"):
            words = words.removesuffix("s") if text == "1" else words
            yield f"{text:>12s} {words} {'saved' if value > 0 else 'added'}"

"""The report as text for a terminal or a log: savings first, then what changed and why."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from rich.console import Console
from rich.table import Table

from restitch.model import Change, Finding, State
from restitch.report.document import saved
from restitch.report.model import CAUTIONS, Outcome, Report

SAVINGS = (
    ("stitches", "stitches", "{:z,.0f}"),
    ("trims", "trims", "{:z,.0f}"),
    ("jumps", "jumps", "{:z,.0f}"),
    ("jump_mm", "jump travel, mm", "{:z,.0f}"),
    ("colour_changes", "colour changes", "{:z,.0f}"),
    ("needle_m", "needle thread, m", "{:z,.1f}"),
    ("minutes", "machine minutes", "{:z,.1f}"),
)
"""Figure key, its words, its format (no minus before a zero): the rows of the savings table."""

FIX_TITLES = {
    "stack": "Stacked stitching taken out",
    "spacing": "Crowded stitching opened",
    "lengths": "Stitch lengths put right",
    "underlay": "Underlay suited to the fabric",
    "pull": "Widened for the pull of the fabric",
    "layering": "Sewing order restored where the look needs it",
    "sequence": "Order and ends",
    "links": "Trims, ties and joins",
}
"""Heading of each group of changes."""

MOST_LINES = 12
"""Changes listed in full for each fix; the rest are counted (JSON has them all)."""


def print_report(report: Report, console: Console) -> None:
    """Write the whole report to the console."""
    console.print(_headline(report), highlight=False)
    console.print(report.fabric_note, highlight=False, style="dim")
    if report.outcome is not Outcome.SOUND:
        console.print(_savings(report))
    if report.look:
        console.print(_look_line(report), highlight=False)
    print_changes(report.changes, console)
    for line in warning_lines(report.findings):
        console.print(f"warning: {line}", highlight=False, markup=False)
    for note in (*report.order.notes, *report.warnings):
        console.print(f"note: {note}", highlight=False, markup=False)
    if report.output and report.outcome is not Outcome.PREVIEW:
        console.print("\nBefore sewing:", highlight=False)
        for caution in CAUTIONS:
            console.print(f"  - {caution}", highlight=False, markup=False)


def warning_lines(findings: Iterable[Finding]) -> list[str]:
    """Return what no fix can cure, one line a cause: how often, and the dearest place in words."""
    from restitch.check import summary

    lines = []
    for cause in summary(f for f in findings if f.severity == "warning"):
        where = f" ({cause.places} places)" if cause.places > 1 else ""
        lines.append(f"{cause.name}{where}: {cause.dearest.text}")
    return lines


def print_changes(changes: Iterable[Change], console: Console) -> None:
    """Write the changes in groups, one line each."""
    for fix, group in groupby(changes, key=lambda c: c.fix):
        rows = list(group)
        gain = sum(c.stitches_saved for c in rows if c.state is State.APPLIED)
        tail = f" ({_signed(-gain)} stitches)" if gain else ""
        console.print(f"\n{FIX_TITLES.get(fix, fix)}{tail}", style="bold", highlight=False)
        for change in sorted(rows, key=lambda c: -abs(c.stitches_saved))[:MOST_LINES]:
            console.print(_change_line(change), highlight=False, markup=False)
        if len(rows) > MOST_LINES:
            console.print(f"  ... and {len(rows) - MOST_LINES} more", highlight=False)


def print_findings(findings: Iterable[Finding], console: Console) -> None:
    """Write findings, one line each."""
    for finding in findings:
        where = ""
        if finding.place_mm:
            where = f" at {finding.place_mm[0]:+.1f}, {finding.place_mm[1]:+.1f} mm"
        line = f"{finding.severity}: {finding.name}{where}: {finding.text}"
        console.print(line, highlight=False, markup=False)


def _headline(report: Report) -> str:
    if report.outcome is Outcome.SOUND:
        copied = f"; {report.output.path} is the same file" if report.output else ""
        return f"{report.source.path}: already sound, nothing to fix{copied}"
    if report.outcome is Outcome.PREVIEW:
        return f"{report.source.path}: preview, nothing written; {report.done}"
    target = report.output.path if report.output else "-"
    return f"{report.source.path} -> {target}: {report.done}"


def _savings(report: Report) -> Table:
    table = Table(box=None, pad_edge=False)
    for heading in ("", "before", "after", "saved"):
        table.add_column(heading, justify="left" if not heading else "right")
    difference = saved(report.before, report.after)
    for key, words, form in SAVINGS:
        if key in report.before and key in report.after:
            values = (report.before[key], report.after[key], difference.get(key, 0.0))
            table.add_row(words, *(form.format(v) for v in values))
    return table


def _look_line(report: Report) -> str:
    assert report.look is not None
    look = report.look
    shown = "outside the restored overlaps" if look.layering_excepted else "of the design"
    return (
        f"look kept: {look.kept:.1%} {shown}; bare cloth {look.bare:.2%}; "
        f"highest stack {look.peak_before:.1f} -> {look.peak_after:.1f} layers"
    )


def _change_line(change: Change) -> str:
    state = "" if change.state is State.APPLIED else f" [{change.state.value}]"
    where = ""
    if change.place_mm:
        where = f" at {change.place_mm[0]:+.0f}, {change.place_mm[1]:+.0f} mm"
    return f"  {change.id}{where}: {change.reason}{state}"


def _signed(number: int) -> str:
    return f"{number:+,d}"


def print_check(
    source: object,
    note: str,
    findings: Sequence[Finding],
    warnings: Iterable[str],
    console: Console,
) -> None:
    """Write the findings of one file: each cause with its cost, dearest first, then the places."""
    from restitch.check import summary

    console.print(f"{source}: {note}", highlight=False, markup=False)
    if not findings:
        console.print("nothing found: sound", style="bold")
    table = Table(box=None, pad_edge=False)
    for heading in ("", "cause", "places", "stitches", "layers", "minutes", "cured by"):
        table.add_column(heading, justify="right" if heading in _NUMBERS else "left")
    for cause in summary(findings):
        table.add_row(
            cause.severity,
            cause.name,
            f"{cause.places}",
            f"{cause.stitches:,}" if cause.stitches else "",
            f"{cause.layers:.1f}" if cause.layers else "",
            f"{cause.minutes:.1f}" if cause.minutes else "",
            cause.fix or "",
        )
    if findings:
        console.print(table)
        print_findings(findings[: 2 * MOST_LINES], console)
        if len(findings) > 2 * MOST_LINES:
            console.print(f"... and {len(findings) - 2 * MOST_LINES} more (--json has them all)")
    for warning in warnings:
        console.print(f"note: {warning}", highlight=False, markup=False)


_NUMBERS = ("places", "stitches", "layers", "minutes")

"""The report as text for a terminal or a log: savings first, then what changed and why."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from itertools import groupby

from restitch.model import Change, Finding, State
from restitch.report.columns import columns
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


Style = Callable[[str], str]
"""Marks a heading for a terminal."""


def report_text(report: Report, bold: Style = str) -> str:
    """The whole report."""
    lines = [_headline(report), report.fabric_note]
    if report.outcome is not Outcome.SOUND:
        lines += _savings(report, bold)
    if report.look:
        lines.append(_look_line(report))
    lines += _change_lines(report.changes, bold)
    lines += [f"warning: {line}" for line in warning_lines(report.findings)]
    lines += [f"note: {note}" for note in (*report.order.notes, *report.warnings)]
    if report.output and report.outcome is not Outcome.PREVIEW:
        lines += ["", "Before sewing:", *(f"  - {caution}" for caution in CAUTIONS)]
    return "\n".join(lines)


def warning_lines(findings: Iterable[Finding]) -> list[str]:
    """Return what no fix can cure, one line a cause: how often, and the dearest place in words."""
    from restitch.check import summary

    lines = []
    for cause in summary(f for f in findings if f.severity == "warning"):
        where = f" ({cause.places} places)" if cause.places > 1 else ""
        lines.append(f"{cause.name}{where}: {cause.dearest.text}")
    return lines


def _change_lines(changes: Iterable[Change], bold: Style) -> list[str]:
    """The changes in groups, one line each."""
    lines = []
    for fix, group in groupby(changes, key=lambda c: c.fix):
        rows = list(group)
        gain = sum(c.stitches_saved for c in rows if c.state is State.APPLIED)
        tail = f" ({_signed(-gain)} stitches)" if gain else ""
        lines += ["", bold(f"{FIX_TITLES.get(fix, fix)}{tail}")]
        dearest = sorted(rows, key=lambda c: -abs(c.stitches_saved))
        lines += [_change_line(change) for change in dearest[:MOST_LINES]]
        if len(rows) > MOST_LINES:
            lines.append(f"  ... and {len(rows) - MOST_LINES} more")
    return lines


def _finding_line(finding: Finding) -> str:
    where = ""
    if finding.place_mm:
        where = f" at {finding.place_mm[0]:+.1f}, {finding.place_mm[1]:+.1f} mm"
    return f"{finding.severity}: {finding.name}{where}: {finding.text}"


def _headline(report: Report) -> str:
    if report.outcome is Outcome.SOUND:
        copied = f"; {report.output.path} is the same file" if report.output else ""
        return f"{report.source.path}: already sound, nothing to fix{copied}"
    if report.outcome is Outcome.PREVIEW:
        return f"{report.source.path}: preview, nothing written; {report.done}"
    target = report.output.path if report.output else "-"
    return f"{report.source.path} -> {target}: {report.done}"


def _savings(report: Report, bold: Style) -> list[str]:
    rows: list[tuple[str, ...]] = [("", "before", "after", "saved")]
    difference = saved(report.before, report.after)
    for key, words, form in SAVINGS:
        if key in report.before and key in report.after:
            values = (report.before[key], report.after[key], difference.get(key, 0.0))
            rows.append((words, *(form.format(v) for v in values)))
    return _table(rows, {1, 2, 3}, bold)


def _table(rows: Sequence[Sequence[str]], to_the_right: Collection[int], bold: Style) -> list[str]:
    """Lines of a table whose first row is its heading."""
    heading, *lines = columns(rows, to_the_right)
    return [bold(heading), *lines]


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


def check_text(
    source: object,
    note: str,
    findings: Sequence[Finding],
    warnings: Iterable[str],
    bold: Style = str,
) -> str:
    """The findings of one file: each cause with its cost, dearest first, then the places."""
    from restitch.check import summary

    lines = [f"{source}: {note}"]
    if findings:
        rows = [("", "cause", "places", "stitches", "layers", "minutes", "cured by")]
        rows += [
            (
                cause.severity,
                cause.name,
                f"{cause.places}",
                f"{cause.stitches:,}" if cause.stitches else "",
                f"{cause.layers:.1f}" if cause.layers else "",
                f"{cause.minutes:.1f}" if cause.minutes else "",
                cause.fix or "",
            )
            for cause in summary(findings)
        ]
        lines += _table(rows, {2, 3, 4, 5}, bold)
        lines += map(_finding_line, findings[: 2 * MOST_LINES])
        if len(findings) > 2 * MOST_LINES:
            lines.append(f"... and {len(findings) - 2 * MOST_LINES} more (--json has them all)")
    else:
        lines.append(bold("nothing found: sound"))
    return "\n".join([*lines, *(f"note: {warning}" for warning in warnings)])

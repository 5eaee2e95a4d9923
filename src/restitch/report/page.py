"""The report as one self-contained page: pictures, layers, sewing, changes, worksheet."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable
from contextlib import AbstractContextManager
from itertools import groupby
from pathlib import Path
from typing import Any

from restitch import __version__
from restitch.model import Change, State, Stream
from restitch.report.document import saved
from restitch.report.model import CAUTIONS, Outcome, Report
from restitch.report.packed import changed_points, packed_design, packed_stack
from restitch.report.templates import page_text, rendered
from restitch.report.text import FIX_TITLES, SAVINGS, warning_lines
from restitch.report.worksheet import colour_rows, sheet_rows, true_size_picture
from restitch.rescue_file import Outcomes

VOTABLE = (State.APPLIED, State.VETOED)
"""States of changes that a decisions file may turn."""


def write_page(found: Outcomes, path: Path, *, replace: bool = False) -> None:
    """Write the page of a run; raises `WriteError` where it cannot be written."""
    with staged_page(found, path, replace=replace):
        pass


def staged_page(
    found: Outcomes, path: Path, *, replace: bool = False
) -> AbstractContextManager[None]:
    """Hold the page ready; it is put in place when the block ends well."""
    from restitch.files import staged

    return staged(page_of(found).encode("utf-8"), path, replace=replace)


def page_of(found: Outcomes) -> str:
    """Return the page of a run as HTML. Whatever a file says is escaped."""
    from markupsafe import Markup

    script = page_text("page.js")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return rendered(
        "page.html.j2",
        **_words(found.report),
        css=Markup(page_text("page.css")),
        js=Markup(script),
        script_hash=digest,
        data=Markup(_json(_data(found))),
        true_size=Markup(true_size_picture(found.result)),
        sheet=sheet_rows(found.report),
        colours=colour_rows(found.report, found.result),
        cautions=CAUTIONS,
        version=__version__,
    )


def _json(document: dict[str, Any]) -> str:
    """JSON that cannot end the script element it stands in."""
    text = json.dumps(document, ensure_ascii=True, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _words(report: Report) -> dict[str, Any]:
    look = report.look
    fabric = report.profile.fabric
    return {
        "title": report.source.name or Path(report.source.path).stem,
        "kicker": report.fabric_note,
        "headline": _headline(report),
        "ledger": _ledger(report),
        "look": _look_words(report),
        "fabric_title": fabric.title,
        "layer_limit": f"{report.profile.layers:g}",
        "peak_before": f"{look.peak_before:.1f}" if look else "-",
        "peak_after": f"{look.peak_after:.1f}" if look else "-",
        "groups": [_group(fix, list(rows)) for fix, rows in _by_fix(report.changes)],
        "findings": warning_lines(report.findings),
        "notes": [*report.order.notes, *report.warnings],
        "source_name": Path(report.source.path).name,
        "digest": report.source.sha256,
    }


def _headline(report: Report) -> str:
    source = Path(report.source.path).name
    if report.outcome is Outcome.SOUND:
        return f"{source} is sound already: nothing had to change."
    if report.outcome is Outcome.COMPARED and report.output:
        return f"{source} compared with {Path(report.output.path).name}."
    gone = saved(report.before, report.after).get("stitches", 0)
    words = f"{gone:,.0f} fewer stitches" if gone >= 0 else f"{-gone:,.0f} more stitches"
    return f"{source}: {report.done}, {words}."


def _look_words(report: Report) -> str:
    if report.look is None:
        return ""
    outside = ", outside the overlaps put right" if report.look.layering_excepted else ""
    return (
        f"{report.look.kept:.1%} of the visible thread is as it was{outside}; "
        f"{report.look.bare:.2%} of the covered cloth is left bare."
    )


def _ledger(report: Report) -> list[dict[str, Any]]:
    difference = saved(report.before, report.after)
    return [
        {
            "key": key,
            "words": words,
            "before": form.format(report.before[key]),
            "after": form.format(report.after[key]),
            "saved": form.format(difference.get(key, 0)),
            "gain": difference.get(key, 0) > 0,
        }
        for key, words, form in SAVINGS
        if key in report.before and key in report.after
    ]


def _by_fix(changes: Iterable[Change]) -> Iterable[tuple[str, Iterable[Change]]]:
    order = list(FIX_TITLES)
    rank = {fix: at for at, fix in enumerate(order)}
    ordered = sorted(changes, key=lambda c: (rank.get(c.fix, len(order)), -abs(c.stitches_saved)))
    return groupby(ordered, key=lambda c: c.fix)


def _group(fix: str, changes: list[Change]) -> dict[str, Any]:
    gain = sum(c.stitches_saved for c in changes if c.state is State.APPLIED)
    return {
        "title": FIX_TITLES.get(fix, fix),
        "saving": f"{gain:,} stitches saved" if gain > 0 else f"{-gain:,} added" if gain else "",
        "changes": [_change(c) for c in changes],
    }


def _change(change: Change) -> dict[str, Any]:
    place, number = change.place_mm, change.stitches_saved
    return {
        "id": change.id,
        "state": change.state.value,
        "votable": change.state in VOTABLE and "~" not in change.id,
        "reason": change.reason,
        "where": f"at {place[0]:+.0f}, {place[1]:+.0f} mm:" if place else "",
        "stitches_saved": number,
        "stitches_words": f"{number:,} stitches fewer" if number > 0 else f"{-number:,} more",
        "box": ",".join(f"{v:g}" for v in change.box_mm) if change.box_mm else "",
    }


def _data(found: Outcomes) -> dict[str, Any]:
    from restitch.infer import infer
    from restitch.look import frame_around, stack_height
    from restitch.rounds import owner_of

    report, source, result = found.report, found.source, found.result
    frame = frame_around(source, result)
    objects = found.rescue.objects if found.rescue else infer(source)
    after = found.rescue.result_objects if found.rescue else infer(result)
    low, high = source.xy.min(axis=0), source.xy.max(axis=0)
    return {
        "file": Path(report.source.path).name,
        "digest": report.source.sha256,
        "before_stitches": int(report.before["stitches"]),
        "after_stitches": int(report.after["stitches"]),
        "limit": report.profile.layers,
        "box": [*map(int, low), *map(int, high)],
        "centre": _centre(source),
        "before": packed_design(
            source, owner_of(source, objects), objects, changed_points(source, result)
        ),
        "after": packed_design(
            result, owner_of(result, after), after, changed_points(result, source)
        ),
        "stack": {
            "before": packed_stack(stack_height(source, frame)),
            "after": packed_stack(stack_height(result, frame)),
        },
    }


def _centre(stream: Stream) -> list[float]:
    points = stream.xy[stream.stitch_index]
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    return [float(middle[0]), float(middle[1])]

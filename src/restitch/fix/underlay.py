"""Fix ``underlay``: every part gets the underlay its fabric and width ask for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from restitch.check.judge_lengths import far_enough
from restitch.check.judge_underlay import (
    UnderlayVerdict,
    column_verdict,
    fill_verdict,
    main_column,
    underlay_points,
    underlay_verdicts,
)
from restitch.fabrics.model import UnderlayRule
from restitch.fix.context import Context, PassResult, Plan
from restitch.fix.objects import (
    Treatment,
    change_of,
    gap_mm,
    mark,
    may_touch,
    stitch_count,
    treated,
)
from restitch.geometry import Ladder, ladder_of, outline
from restitch.geometry.small import thread_mm
from restitch.model import (
    UNITS_PER_MM,
    IntArray,
    Kind,
    Link,
    Piece,
    PlannedObject,
    Role,
    read_only,
)
from restitch.plan import renewed
from restitch.stitch.area import Laid, fill_underlay
from restitch.stitch.column import column_underlay
from restitch.stitch.ties import tie_in

SEAM_MM = 0.5
"""Holes of new underlay keep this far apart: what is under 0.3 would be merged again."""


def run(plan: Plan, context: Context) -> PassResult:
    """Return the plan with unsuited underlay replaced and missing underlay laid.

    What is laid passes the judge itself, so that a second run finds nothing.
    """
    verdicts = underlay_verdicts(plan, context.profile)

    def treat(obj: PlannedObject) -> Treatment | None:
        verdict = verdicts.get(obj.id)
        if verdict is None or not may_touch(obj, context):
            return None
        laid = with_underlay(obj, context)
        return _told(obj, laid, verdict, context) if laid else None

    return treated(plan, treat)


def with_underlay(obj: PlannedObject, context: Context) -> PlannedObject | None:
    """Return the object on fresh underlay by the fabric's rule, None where none can be laid
    that the judge would pass."""
    rule = context.profile.fabric.underlay
    under = _column(obj, rule) if obj.kind is Kind.SATIN else _fill(obj, rule)
    if not under:
        return None
    laid = _on(obj, under)
    verdict = (
        column_verdict(laid) if obj.kind is Kind.SATIN else fill_verdict(laid, context.profile)
    )
    return laid if verdict is None else None


def _column(obj: PlannedObject, rule: UnderlayRule) -> list[Laid]:
    rungs = main_column(obj)
    if rungs is None:
        return []
    # the thread comes in at the end that is nearer to where it came in before
    return [Laid(Role.UNDERLAY, column_underlay(rungs, rule, enter=_nearer_end(obj, rungs)))]


def _nearer_end(obj: PlannedObject, rungs: Ladder) -> int:
    entry = _entry(obj)
    ends = rungs.xy_mm[[0, -1]] * UNITS_PER_MM
    return int(gap_mm(entry, ends[1]) < gap_mm(entry, ends[0]) and not rungs.is_ring)


def _entry(obj: PlannedObject) -> IntArray:
    """Where the object's own stitching begins, its tie left out."""
    body = [p for p in obj.pieces if p.role is not Role.TIE]
    entry: IntArray = body[0].xy[0]
    return entry


def _fill(obj: PlannedObject, rule: UnderlayRule) -> list[Laid]:
    tops = [p for p in obj.pieces if p.role is Role.TOP and p.layer == 0]
    rows = ladder_of(max(tops, key=lambda p: len(p.xy)))
    if not rows.is_regular:
        return []
    enter, leave = _entry(obj) / float(UNITS_PER_MM), tops[0].xy[0] / float(UNITS_PER_MM)
    return list(fill_underlay(outline(obj), rows.axis, rule, enter, leave))


def _on(obj: PlannedObject, under: list[Laid]) -> PlannedObject:
    """The object with its first top laid on new underlay, tied as it was."""
    first_top = next(i for i, p in enumerate(obj.pieces) if p.role is Role.TOP)
    head, rest = obj.pieces[:first_top], obj.pieces[first_top:]
    tied = bool(head) and head[0].role is Role.TIE
    pieces = _apart([Piece(laid.role, read_only(laid.xy)) for laid in under], rest[0])
    if tied:
        body = np.concatenate([p.xy for p in pieces])
        pieces.insert(0, Piece(Role.TIE, read_only(tie_in(body))))
    pieces[0] = replace(pieces[0], link=obj.pieces[0].link)
    top = rest[0] if rest[0].link is Link.SEWN else replace(rest[0], link=Link.SEWN)
    return mark(obj, [*pieces, top, *rest[1:]], "underlay", "entry")


def _apart(under: list[Piece], top: Piece) -> list[Piece]:
    """The underlay without holes too near to the one before, or to the first of the top."""
    xy = np.concatenate([*(p.xy for p in under), top.xy[:1]])
    kept = far_enough(xy, SEAM_MM)[:-1]
    if gap_mm(xy[np.flatnonzero(kept)[-1]], top.xy[0]) < SEAM_MM and kept.sum() > 1:
        kept[np.flatnonzero(kept)[-1]] = False
    masks = np.split(kept, np.cumsum([len(p.xy) for p in under])[:-1])
    return [
        p if m.all() else renewed(p, p.xy[m]) for p, m in zip(under, masks, strict=True) if m.any()
    ]


def _told(
    obj: PlannedObject, laid: PlannedObject, verdict: UnderlayVerdict, context: Context
) -> Treatment:
    now = sum(map(len, underlay_points(laid)))
    fabric = context.profile.fabric
    kind = _kind_of(obj, verdict, fabric.underlay)
    if verdict.fault == "missing":
        cause = "missing underlay"
        reason = f"{obj.kind} without underlay; laid {kind} for {fabric.title}, {now} stitches"
    else:
        cause = "unsuited underlay"
        reason = (
            f"{obj.kind} on {verdict.text}; laid {kind} for {fabric.title} instead, "
            f"{verdict.stitches} underlay stitches become {now}"
        )
    under = [[p for p in o.pieces if p.role is Role.UNDERLAY] for o in (obj, laid)]
    change = change_of(
        "underlay",
        cause,
        reason,
        obj,
        context,
        {
            "stitches": stitch_count(obj.pieces),
            "underlay_mm": round(thread_mm(p.xy for p in under[0]), 1),
        },
        {
            "stitches": stitch_count(laid.pieces),
            "underlay_mm": round(thread_mm(p.xy for p in under[1]), 1),
        },
    )
    return laid, change


def _kind_of(obj: PlannedObject, verdict: UnderlayVerdict, rule: UnderlayRule) -> str:
    """The underlay that was laid, in the trade's words."""
    if obj.kind is Kind.FILL:
        return "an edge run and crossing rows" if rule.fill_crossing else "an edge run"
    if verdict.width_mm < rule.centre_run_below_mm:
        return "a centre run"
    if rule.zigzag_from_mm is not None and verdict.width_mm >= rule.zigzag_from_mm:
        return f"an edge run and {'double ' if rule.double_zigzag else ''}zigzag"
    return "an edge run"

"""Fix ``spacing``: over-dense satins and fills are laid anew between the sides they have."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from restitch.check.judge_spacing import SpacingVerdict, spacing_mm, spacing_verdicts
from restitch.fix.context import Context, PassResult, Plan
from restitch.fix.objects import (
    Treatment,
    change_of,
    mark,
    may_touch,
    stitch_count,
    treated,
)
from restitch.geometry import Ladder, ladder_of
from restitch.geometry.small import lengths_mm, thread_mm
from restitch.model import IntArray, Kind, Piece, PlannedObject, Role
from restitch.plan import renewed
from restitch.stitch.fill import fill_stitch_mm, rerowed
from restitch.stitch.satin import relaid_satin

LEAST_SAVED = 0.05
"""Laying anew that saves less than this share is not worth a change."""
SPLIT_SLACK_MM = 0.5
"""A column that is split already is split again over its own longest stitch and this much."""


def run(plan: Plan, context: Context) -> PassResult:
    """Return the plan with over-dense tops opened to the target, and a change for each."""
    verdicts = spacing_verdicts(plan, context.profile)

    def treat(obj: PlannedObject) -> Treatment | None:
        verdict = verdicts.get(obj.id)
        if verdict is None or not may_touch(obj, context):
            return None
        opened = _opened(obj, verdict.target_mm, context)
        return _told(obj, opened, verdict, context) if opened else None

    return treated(plan, treat)


def _opened(obj: PlannedObject, target_mm: float, context: Context) -> PlannedObject | None:
    """The object laid anew, or None where that would not make it sounder."""
    pieces = [_piece(p, obj.kind, target_mm, context) for p in obj.pieces]
    opened = mark(obj, pieces, "top")
    was, now = spacing_mm(obj), spacing_mm(opened)
    before, after = _weight(obj.pieces, obj.kind), _weight(pieces, obj.kind)
    worse = was is None or (now is not None and now[0] < was[0])
    return None if worse or after > (1.0 - LEAST_SAVED) * before else opened


def _piece(piece: Piece, kind: Kind, target_mm: float, context: Context) -> Piece:
    if piece.role is not Role.TOP or piece.layer or len(piece.xy) < 4:
        return piece
    rungs = ladder_of(piece)
    if not rungs.is_regular:
        return piece
    laid: IntArray | None
    if kind is Kind.SATIN:
        laid = relaid_satin(rungs, target_mm, _split_over_mm(rungs, context))
    else:
        laid = rerowed(rungs, target_mm, _fill_stitch_mm(rungs, context))
    return piece if laid is None or _heavier(laid, piece, kind) else renewed(piece, laid)


def _weight(pieces: Iterable[Piece], kind: Kind) -> float:
    """What laying anew should save: stitches of a fill, thread of a satin, because a wide one that
    is opened and split at once has as many holes as before."""
    return thread_mm(p.xy for p in pieces) if kind is Kind.SATIN else stitch_count(pieces)


def _heavier(laid: IntArray, piece: Piece, kind: Kind) -> bool:
    return _weight([replace(piece, xy=laid)], kind) >= _weight([piece], kind)


def _split_over_mm(rungs: Ladder, context: Context) -> float:
    """Length over which strokes are split: the limit, or the column's own where it is split."""
    limit = context.profile.limits.satin_split_over_mm
    if np.mean(rungs.holes_inside > 0) < 0.5:
        return limit
    longest = float(lengths_mm(rungs.xy_mm).max())
    return min(limit, longest + SPLIT_SLACK_MM)


def _fill_stitch_mm(rows: Ladder, context: Context) -> float:
    """The fill's own stitch, but never shorter than a fabric that asks for long ones wants."""
    own = fill_stitch_mm(rows)
    wanted = context.profile.fabric.fill_stitch_mm
    return max(own, wanted) if context.profile.fabric.underlay.inset_mm > 1.0 else own


def _told(
    obj: PlannedObject, opened: PlannedObject, verdict: SpacingVerdict, context: Context
) -> Treatment:
    before, after = stitch_count(obj.pieces), stitch_count(opened.pieces)
    reason = (
        f"{obj.kind} sewn at {verdict.spacing_mm:.2f} mm where {context.profile.fabric.title} "
        f"asks for {verdict.target_mm:.2f}; laid anew between the same sides, "
        + (f"{before - after} stitches out" if before > after else "wide strokes split")
    )
    change = change_of(
        "spacing",
        "over-dense spacing",
        reason,
        obj,
        context,
        {"stitches": before, "spacing_mm": verdict.spacing_mm},
        {"stitches": after, "spacing_mm": verdict.target_mm},
    )
    return opened, change

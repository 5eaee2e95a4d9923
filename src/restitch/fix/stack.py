"""Fix ``stack``: stitching sewn over itself comes down to the one layer that is seen."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from restitch.check.judge_stack import StackVerdict, stack_verdicts
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
from restitch.geometry import ladder_of, outline
from restitch.geometry.small import thread_mm
from restitch.model import (
    UNITS_PER_MM,
    Change,
    FloatArray,
    IntArray,
    Kind,
    Link,
    Piece,
    PlannedObject,
    Role,
    read_only,
)
from restitch.stitch.lines import resampled, to_units
from restitch.stitch.ties import tie_in

LAYER_MM_PER_MM2 = 5.0
"""Thread length of one layer of 40 weight thread (MXd)."""
STRENGTH = (Link.SEWN, Link.JUMP, Link.TRIM, Link.STOP)
"""Links from the weakest to the strongest break of the thread."""


def run(plan: Plan, context: Context) -> PassResult:
    """Return the plan without surplus stitching, and a change for every object it left.

    The visible layer stays stitch for stitch; what changes is the way in.
    """
    verdicts = stack_verdicts(plan, context.objects)

    def treat(obj: PlannedObject) -> Treatment | None:
        verdict = verdicts.get(obj.id)
        if verdict is None or not may_touch(obj, context):
            return None
        if verdict.whole and obj.pieces[0].link is Link.STOP:
            return None
        slim = None if verdict.whole else _slim(obj, context)
        return slim, _told(obj, slim, verdict, context)

    return treated(plan, treat)


def _told(
    obj: PlannedObject, slim: PlannedObject | None, verdict: StackVerdict, context: Context
) -> Change:
    count = stitch_count(obj.pieces)
    left = stitch_count(slim.pieces) if slim else 0
    area = max(outline(slim or obj).area, 1e-6)
    layers = [
        round(thread_mm(p.xy for p in o.pieces) / area / LAYER_MM_PER_MM2, 1) if o else 0.0
        for o in (obj, slim)
    ]
    out = count - left
    if verdict.kind == "hidden":
        cause = "hidden stitching"
        reason = f"{obj.kind} with no thread left to see; {out} stitches out"
    elif verdict.whole:
        cause = "doubled object"
        reason = f"{obj.kind} sewn a second time in the same place; {out} stitches out"
    elif verdict.kind == "doubled":
        cause = "doubled object"
        reason = (
            f"{obj.kind} sewn {verdict.layers} times in the same place ({layers[0]} layers); "
            f"kept the top one, {out} stitches out"
        )
    else:
        cause = "stacked satin" if obj.kind is Kind.SATIN else f"stacked {obj.kind}"
        reason = (
            f"{obj.kind} sewn {verdict.layers} times over itself ({layers[0]} layers); "
            f"kept the top layer, {out} stitches out"
        )
    return change_of(
        "stack",
        cause,
        reason,
        obj,
        context,
        {"stitches": count, "layers": layers[0]},
        {"stitches": left, "layers": layers[1]},
    )


def _slim(obj: PlannedObject, context: Context) -> PlannedObject:
    """The object without its surplus layers, its ends and joins mended."""
    kept = _kept(obj)
    marks = {"stack"}
    first, last = kept[0], kept[-1]
    if first.xy is not obj.pieces[0].xy:
        marks.add("entry")
    if last.xy is not obj.pieces[-1].xy:
        marks.add("exit")
    kept = _with_tie(obj, kept)
    return mark(obj, _rejoined(kept, obj.kind, context), *marks)


def _kept(obj: PlannedObject) -> list[Piece]:
    """Pieces of layer 0 between the first and the last that count, the breaks carried over."""
    body = [
        i for i, p in enumerate(obj.pieces) if p.layer == 0 and p.role in (Role.TOP, Role.UNDERLAY)
    ]
    start, stop = body[0], body[-1] + 1
    pieces = obj.pieces
    # a tie of layer 0 right before the first or right after the last stays with it
    if start and pieces[start - 1].role is Role.TIE and pieces[start].link is Link.SEWN:
        start -= 1
    if stop < len(pieces) and pieces[stop].role is Role.TIE and pieces[stop].link is Link.SEWN:
        stop += 1
    kept: list[Piece] = []
    way = pieces[0].link
    for i, piece in enumerate(pieces):
        if kept:
            way = max(way, piece.link, key=STRENGTH.index)
        if start <= i < stop and piece.layer == 0:
            kept.append(piece if piece.link is way else replace(piece, link=way))
            way = Link.SEWN
    return kept


def _with_tie(obj: PlannedObject, kept: list[Piece]) -> list[Piece]:
    """Give the start a tie where the object had one and lost it with a layer."""
    if obj.pieces[0].role is not Role.TIE or kept[0].role is Role.TIE:
        return kept
    lead = obj.pieces[0]
    if len(lead.xy) > 1 and gap_mm(lead.xy[-1], kept[0].xy[0]) < 0.5:
        tie = replace(lead, layer=0)
    else:
        tie = Piece(Role.TIE, read_only(tie_in(kept[0].xy)), kept[0].link)
    return [tie, replace(kept[0], link=Link.SEWN), *kept[1:]]


def _rejoined(pieces: list[Piece], kind: Kind, context: Context) -> list[Piece]:
    """Lead the thread under the cover where a layer that joined two pieces is gone."""
    result = [pieces[0]]
    for piece in pieces[1:]:
        before = result[-1]
        if piece.link is Link.SEWN and piece.role is Role.TOP and before.role is not Role.TOP:
            result += _way_in(before, piece, kind, context)
        result.append(piece)
    return result


def _way_in(before: Piece, top: Piece, kind: Kind, context: Context) -> list[Piece]:
    """Travel along the middle of the column to the end where its cover begins."""
    rule = context.profile.fabric.underlay
    if gap_mm(before.xy[-1], top.xy[0]) <= 1.5 * rule.stitch_mm:
        return []
    line = _under(top, before.xy[-1], kind)
    path = to_units(resampled(line, rule.stitch_mm))[1:-1]
    return [Piece(Role.TRAVEL, read_only(path))] if len(path) else []


def _under(top: Piece, here: IntArray, kind: Kind) -> FloatArray:
    """Line in millimetres from a point, along a column's middle, to the first point of its top."""
    start, end = here / float(UNITS_PER_MM), top.xy[0] / float(UNITS_PER_MM)
    if kind is Kind.FILL:
        return np.stack([start, end])
    centre = ladder_of(top).smooth_centre_mm
    near = int(np.argmin(np.hypot(*(centre - start).T)))
    return np.vstack([start, centre[near::-1], end])

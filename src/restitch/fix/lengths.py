"""Fix ``lengths``: stitches too short to form, piled up in one hole, or too long to hold."""

from __future__ import annotations

from dataclasses import replace

from restitch.check.judge_lengths import (
    LengthVerdict,
    kept_points,
    length_verdicts,
    longest_mm,
    piled_points,
    sewn_mm,
)
from restitch.fabrics.model import Limits
from restitch.fix.context import Context, PassResult, Plan
from restitch.fix.objects import Treatment, change_of, mark, may_touch, stitch_count, treated
from restitch.model import (
    UNITS_PER_MM,
    BoolArray,
    Change,
    Kind,
    Piece,
    PlannedObject,
    Role,
)
from restitch.plan import renewed
from restitch.stitch.lines import to_units
from restitch.stitch.satin import SPLIT_PIECE_MM, split_strokes

FILL_PIECE_MM = 4.2
"""Over-long fill stitches are cut into pieces of at most this (a usual fill stitch, PW16a)."""
RUN_PIECE_MM = 6.0
"""Over-long runs likewise (COMP: prefer 6 or less)."""
SETTLES_IN = 4
"""Merging can leave a new short stitch at most a few times in a row."""


def run(plan: Plan, context: Context) -> PassResult:
    """Return the plan with every stitch within the limits, and a change for each object."""
    limits = context.profile.limits
    verdicts = length_verdicts(plan, limits)
    if not verdicts:
        return plan, ()
    piled = piled_points(plan, limits)

    def treat(obj: PlannedObject) -> Treatment | None:
        verdict = verdicts.get(obj.id)
        if verdict is None or not may_touch(obj, context):
            return None
        sound = _without(obj, [~m for m in piled[obj.id]]) if obj.id in piled else obj
        for _ in range(SETTLES_IN):
            kept = kept_points(sound, limits)
            if all(k.all() for k in kept):
                break
            sound = _without(sound, kept)
        sound = mark(sound, [_split(sound, p, limits) for p in sound.pieces], "lengths")
        return sound, _told(obj, sound, verdict, context)

    return treated(plan, treat)


def _without(obj: PlannedObject, kept: list[BoolArray]) -> PlannedObject:
    """The object with only the points of the masks.

    The first point after a cut is never too near to anything: a piece without points was sewn on
    to, and no cut goes with it.
    """
    pieces = tuple(
        piece if keep.all() else renewed(piece, piece.xy[keep])
        for piece, keep in zip(obj.pieces, kept, strict=True)
        if keep.any()
    )
    return replace(obj, pieces=pieces)


def _split(obj: PlannedObject, piece: Piece, limits: Limits) -> Piece:
    over = longest_mm(obj, piece, limits)
    if len(piece.xy) < 2 or sewn_mm(piece.xy).max() <= over:
        return piece
    if piece.role is not Role.TOP or obj.kind is Kind.RUN or obj.open:
        size = RUN_PIECE_MM
    else:
        size = SPLIT_PIECE_MM if obj.kind is Kind.SATIN else FILL_PIECE_MM
    points = split_strokes(piece.xy / float(UNITS_PER_MM), over, size)
    return renewed(piece, to_units(points))


def _told(
    obj: PlannedObject, sound: PlannedObject, verdict: LengthVerdict, context: Context
) -> Change:
    limits = context.profile.limits
    causes = (
        (verdict.short, "short stitches", f"under {limits.shortest_stitch_mm:.1f} mm merged"),
        (verdict.piled, "needle pile-up", "piled up in one hole taken out"),
        (verdict.long, "long stitches", f"over {_longest(obj, limits):.1f} mm split"),
    )
    said = [f"{n} {'stitch' if n == 1 else 'stitches'} {what}" for n, _, what in causes if n]
    return change_of(
        "lengths",
        max(causes, key=lambda c: c[0])[1],
        f"{obj.kind}: {', '.join(said)}",
        obj,
        context,
        {
            "stitches": stitch_count(obj.pieces),
            "short": verdict.short,
            "piled": verdict.piled,
            "long": verdict.long,
        },
        {"stitches": stitch_count(sound.pieces), "short": 0, "piled": 0, "long": 0},
    )


def _longest(obj: PlannedObject, limits: Limits) -> float:
    return min(longest_mm(obj, p, limits) for p in obj.pieces)

"""Fix ``lengths``: stitches too short to form, piled up in one hole, or too long to hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from restitch.check.judge_lengths import (
    LengthVerdict,
    far_enough,
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
    Command,
    IntArray,
    Kind,
    Link,
    Piece,
    PlannedObject,
    Role,
    Stream,
    read_only,
)
from restitch.plan import Emission, renewed
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
    """The object with only the points of the masks; a piece without points hands on its link."""
    pieces: list[Piece] = []
    way: Link | None = None
    for piece, keep in zip(obj.pieces, kept, strict=True):
        if not keep.any():
            way = way or piece.link
            continue
        left = piece if keep.all() else renewed(piece, piece.xy[keep])
        if way is not None and left.link is Link.SEWN:
            left = replace(left, link=way)
        way = None
        pieces.append(left)
    return replace(obj, pieces=tuple(pieces))


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


def seams(emission: Emission, limits: Limits) -> Emission:
    """Return a sewn plan without stitches too short to form: the last pass over a whole stream.

    Pieces that met anew can leave such stitches where they join. Commands stay as they are.
    """
    stream = emission.stream
    short = _short_records(stream, limits.shortest_stitch_mm)
    if not short.any():
        return emission
    keep = ~short
    data = stream.data
    return replace(
        emission,
        stream=replace(
            stream,
            xy=read_only(stream.xy[keep]),
            command=read_only(stream.command[keep]),
            data=None if data is None else read_only(data[keep]),
        ),
        owner=read_only(emission.owner[keep]),
    )


def _short_records(stream: Stream, least_mm: float) -> BoolArray:
    """(n,) records to drop so that no sewn stitch is shorter than the limit."""
    drop = np.zeros(len(stream), bool)
    stitch = np.concatenate([[False], stream.command == Command.STITCH, [False]])
    edges = np.flatnonzero(np.diff(stitch.astype(np.int8)))
    step = np.zeros(len(stream))
    step[1:] = np.hypot(*np.diff(stream.xy, axis=0).T) / UNITS_PER_MM
    tight = np.flatnonzero((step < least_mm - 1e-6) & stitch[1:-1])
    runs = np.unique(np.searchsorted(edges[::2], tight, side="right") - 1)
    for run_number in runs:
        start, stop = edges[2 * run_number], edges[2 * run_number + 1]
        drop[start:stop] = ~_settled(stream.xy[start:stop], least_mm)
    return drop


def _settled(xy: IntArray, least_mm: float) -> BoolArray:
    kept = np.ones(len(xy), bool)
    for _ in range(SETTLES_IN):
        here = np.flatnonzero(kept)
        far = far_enough(xy[here], least_mm)
        if far.all():
            break
        kept[here[~far]] = False
    return kept

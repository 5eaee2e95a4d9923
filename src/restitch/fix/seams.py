"""The last pass over a finished stream: what pieces that meet anew leave where they join."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from restitch.check.judge_lengths import far_enough
from restitch.fabrics.model import Limits
from restitch.geometry import IndexArray
from restitch.geometry.small import distinct
from restitch.model import (
    UNITS_PER_MM,
    BoolArray,
    Command,
    IntArray,
    Stream,
    read_only,
)
from restitch.plan import Emission

SETTLES_IN = 4
"""Merging can leave a new short stitch at most a few times in a row."""
HOLE_ROW = 1 << 32
"""Holes are counted by one number, x in rows of this length: sorting pairs costs ten times more."""
ASIDE_MM = 0.3
"""A thread end steps this far out of a crowded hole."""


def seams(emission: Emission, limits: Limits, source: Stream | None = None) -> Emission:
    """Return a sewn plan whose seams are sound: no stitch too short, no new pile-up.

    Stitches shorter than the limit are merged and thread ends step aside where their hole became
    crowded. What stands in ``source`` already is left as it is. Commands stay.
    """
    stream = emission.stream
    known = _short_pairs(source, limits) if source is not None else frozenset()
    short = _short_records(stream, limits.shortest_stitch_mm, known)
    if short.any():
        emission = _without(emission, short)
    aside = _spread(emission.stream, limits, source)
    if aside is not None:
        emission = replace(emission, stream=replace(emission.stream, xy=read_only(aside)))
    return emission


def _without(emission: Emission, dropped: BoolArray) -> Emission:
    stream, keep = emission.stream, ~dropped
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


def _stitch_runs(stream: Stream) -> tuple[IndexArray, IndexArray]:
    """Begin and end of every unbroken run of STITCH records."""
    stitch = np.concatenate([[False], stream.command == Command.STITCH, [False]])
    edges = np.flatnonzero(np.diff(stitch.astype(np.int8)))
    return edges[::2], edges[1::2]


def _tight(stream: Stream, least_mm: float) -> IndexArray:
    """Records that a stitch shorter than the limit leads to."""
    stitch = stream.command == Command.STITCH
    step = np.zeros(len(stream))
    step[1:] = np.hypot(*np.diff(stream.xy, axis=0).T) / UNITS_PER_MM
    stitch[1:] &= stitch[:-1]
    stitch[:1] = False
    return np.flatnonzero((step < least_mm - 1e-6) & stitch)


def _short_pairs(source: Stream, limits: Limits) -> frozenset[tuple[int, ...]]:
    """Both ends of every stitch of the source that is too short."""
    at = _tight(source, limits.shortest_stitch_mm)
    pairs = np.concatenate([source.xy[at - 1], source.xy[at]], axis=1)
    return frozenset(map(tuple, pairs.tolist()))


def _short_records(stream: Stream, least_mm: float, known: frozenset[tuple[int, ...]]) -> BoolArray:
    """(n,) records to drop so that no new stitch is shorter than the limit."""
    drop = np.zeros(len(stream), bool)
    tight = _tight(stream, least_mm)
    if known and len(tight):
        pairs = np.concatenate([stream.xy[tight - 1], stream.xy[tight]], axis=1).tolist()
        tight = tight[[tuple(pair) not in known for pair in pairs]]
    begins, ends = _stitch_runs(stream)
    for run in distinct(np.searchsorted(begins, tight, side="right") - 1).tolist():
        drop[begins[run] : ends[run]] = ~_settled(stream.xy[begins[run] : ends[run]], least_mm)
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


def _spread(stream: Stream, limits: Limits, source: Stream | None) -> IntArray | None:
    """Positions with thread ends out of holes that are crowded anew; None if there are none."""
    begins, ends = _stitch_runs(stream)
    long = ends - begins > 1
    loose = [(int(i), 1) for i in begins[long]] + [(int(i) - 1, -1) for i in ends[long]]
    crowds = _visits(stream)
    was = _visits(source) if source is not None else {}
    xy: IntArray | None = None
    for record, inward in loose:
        hole = (int(stream.xy[record, 0]), int(stream.xy[record, 1]))
        if crowds.get(hole, 0) <= max(limits.pile_up, was.get(hole, 0)):
            continue
        sides = _aside(stream.xy[record], stream.xy[record + inward])
        place = next((p for p in sides if tuple(p.tolist()) not in crowds), None)
        if place is None:
            continue
        xy = stream.xy.copy() if xy is None else xy
        xy[record] = place
        crowds[hole] -= 1
    return xy


def _visits(stream: Stream) -> dict[tuple[int, int], int]:
    """Needle points in every hole that is visited often enough to matter."""
    xy = stream.xy[stream.stitch_index].astype(np.int64)
    holes, counts = np.unique(xy[:, 0] * HOLE_ROW + xy[:, 1] + HOLE_ROW // 2, return_counts=True)
    often = counts > 1
    x, y = np.divmod(holes[often], HOLE_ROW)
    places = zip(x.tolist(), (y - HOLE_ROW // 2).tolist(), strict=True)
    return dict(zip(places, counts[often].tolist(), strict=True))


def _aside(end: IntArray, after: IntArray) -> list[IntArray]:
    """Where a thread end may step aside, across its stitch to either side."""
    way = (after - end).astype(np.float64)
    length = float(np.hypot(*way))
    if length < 1.0:
        return []
    across = np.array([-way[1], way[0]]) / length * ASIDE_MM * UNITS_PER_MM
    return [np.asarray(np.rint(end + side * across), np.int32) for side in (1, -1)]

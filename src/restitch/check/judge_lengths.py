"""Judge: stitches too short to form, needle pile-ups, stitches too long to hold."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from restitch.fabrics.model import Limits
from restitch.geometry.small import distinct, lengths
from restitch.model import (
    UNITS_PER_MM,
    BoolArray,
    FloatArray,
    IntArray,
    Kind,
    Link,
    Piece,
    PlannedObject,
    Role,
)

ROUNDING = 1e-6
"""A length that equals a limit is not beyond it."""
STRAY_STITCHES, STRAY_SHARE = 5, 0.02
"""Fewer long stitches than this, and than this share of a fill, are steps between its rows and
not a fault of the fill. Our choice."""
VISITS_KEPT = 2
"""Visits of one hole that an object keeps in a pile-up."""


class LengthVerdict(NamedTuple):
    """What is wrong with the lengths of one object's stitches."""

    short: int
    """Stitches too short to form."""
    piled: int
    """Needle points too many in one hole."""
    long: int
    """Stitches too long to hold."""


def length_verdicts(plan: Sequence[PlannedObject], limits: Limits) -> dict[int, LengthVerdict]:
    """Return the verdict on every object with stitches beyond the limits, by object id."""
    piled = piled_points(plan, limits)
    doubtful = {o.id for o in beyond_limits(plan, limits)}
    found = {}
    for obj in plan:
        if obj.id not in doubtful and obj.id not in piled:
            continue
        short = sum(int((~kept).sum()) for kept in kept_points(obj, limits))
        long = sum(int((sewn_mm(p.xy) > longest_mm(obj, p, limits)).sum()) for p in obj.pieces)
        count = sum(int(mask.sum()) for mask in piled.get(obj.id, ()))
        if short or long or count:
            found[obj.id] = LengthVerdict(short, count, long)
    return found


def beyond_limits(plan: Sequence[PlannedObject], limits: Limits) -> list[PlannedObject]:
    """Return the objects with a stitch that may be beyond the limits: all are measured at once,
    the few that are left one by one, by `kept_points` and `longest_mm`."""
    pieces = [p for o in plan for p in o.pieces]
    if not pieces:
        return []
    sizes = np.array([len(p.xy) for p in pieces])
    starts = np.cumsum(sizes) - sizes
    steps = np.diff(np.concatenate([p.xy for p in pieces]), axis=0)
    within = np.ones(len(steps) + 1, bool)
    within[starts] = False
    sewn = np.ones(len(steps) + 1, bool)
    sewn[starts] = [i > 0 and p.link is Link.SEWN for o in plan for i, p in enumerate(o.pieces)]
    longest = np.repeat([_longest_of_kind(o, p, limits) for o in plan for p in o.pieces], sizes)
    # step k leads to point k + 1
    beyond = within[1:] & (_lengths_mm(steps) > longest[1:])
    beyond |= sewn[1:] & _too_near(steps, limits.shortest_stitch_mm)
    piece = np.searchsorted(starts, np.flatnonzero(beyond) + 1, side="right") - 1
    owner = np.repeat(np.arange(len(plan)), [len(o.pieces) for o in plan])
    return [plan[i] for i in distinct(owner[piece]).tolist()]


def _longest_of_kind(obj: PlannedObject, piece: Piece, limits: Limits) -> float:
    """`longest_mm` before a fill is asked how many of its stitches are longer."""
    if piece.role is Role.TOP and not obj.open and obj.kind is Kind.SATIN:
        return limits.satin_split_over_mm
    if piece.role is Role.TOP and not obj.open and obj.kind is Kind.FILL:
        return min(limits.fill_stitch_over_mm, limits.longest_stitch_mm)
    return limits.longest_stitch_mm


def sewn_mm(xy: IntArray) -> FloatArray:
    """(k - 1,) lengths of the stitches of unbroken needle points."""
    return _lengths_mm(np.diff(xy, axis=0))


def _lengths_mm(steps: IntArray) -> FloatArray:
    return lengths(steps.astype(np.float64)) / UNITS_PER_MM - ROUNDING


def longest_mm(obj: PlannedObject, piece: Piece, limits: Limits) -> float:
    """Longest stitch that a piece may have: by kind for the cover, the machine's for the rest."""
    if piece.role is Role.TOP and not obj.open and obj.kind is Kind.FILL:
        return _longest_in_fill(piece, limits)
    return _longest_of_kind(obj, piece, limits)


def _longest_in_fill(piece: Piece, limits: Limits) -> float:
    """The limit for fill rows, but the machine's where only a stray stitch or two are longer."""
    long = int((sewn_mm(piece.xy) > limits.fill_stitch_over_mm).sum())
    stray = long < max(STRAY_STITCHES, STRAY_SHARE * len(piece.xy))
    return limits.longest_stitch_mm if stray else limits.fill_stitch_over_mm


def kept_points(obj: PlannedObject, limits: Limits) -> list[BoolArray]:
    """(k,) mask for each piece: False where a needle point is too near to the one before.

    The later hole goes, but at the end of the thread the earlier one.
    """
    chains: list[list[int]] = []
    for i, piece in enumerate(obj.pieces):
        if i and piece.link is Link.SEWN:
            chains[-1].append(i)
        else:
            chains.append([i])
    masks: list[BoolArray] = []
    for chain in chains:
        xy = np.concatenate([obj.pieces[i].xy for i in chain])
        kept = far_enough(xy, limits.shortest_stitch_mm)
        bounds = np.cumsum([len(obj.pieces[i].xy) for i in chain])[:-1]
        masks += np.split(kept, bounds)
    return masks


def far_enough(xy: IntArray, least_mm: float) -> BoolArray:
    """(k,) mask of unbroken needle points without those too near to the one kept before."""
    kept = np.ones(len(xy), bool)
    least = _least_square(least_mm)
    points = None
    done = -1
    for at in np.flatnonzero(_too_near(np.diff(xy, axis=0), least_mm)).tolist():
        if at + 1 <= done:
            continue
        points = xy.tolist() if points is None else points
        here, after = points[at], at + 1
        # dropping a hole brings the next one nearer to the last kept: go on until it is far
        while after < len(points) and _square(here, points[after]) < least:
            kept[after] = False
            after += 1
        done = after
        if after == len(points) and at:
            kept[at], kept[-1] = False, True
    return kept


def _too_near(steps: IntArray, least_mm: float) -> BoolArray:
    """(k,) which of (k, 2) steps are shorter."""
    far = steps.astype(np.int64)
    near: BoolArray = far[:, 0] ** 2 + far[:, 1] ** 2 < _least_square(least_mm)
    return near


def _least_square(least_mm: float) -> float:
    """Square of a length in the file's units; one that equals it is not shorter."""
    return (least_mm * UNITS_PER_MM - ROUNDING) ** 2


def _square(a: list[int], b: list[int]) -> int:
    return (a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2


def piled_points(plan: Sequence[PlannedObject], limits: Limits) -> dict[int, list[BoolArray]]:
    """Needle points too many in one hole, by object id: a (k,) mask for each piece.

    A pile-up is counted over the whole file; inside an object the third and later visits go,
    ends of pieces and ties stay. Runs repeat on purpose.
    """
    sizes = [len(p.xy) for o in plan for p in o.pieces]
    if not sizes:
        return {}
    xy = np.concatenate([p.xy for o in plan for p in o.pieces]).astype(np.int64)
    hole = xy[:, 0] * (1 << 32) + xy[:, 1]
    ordered = np.sort(hole)
    if not (ordered[limits.pile_up :] == ordered[: -limits.pile_up]).any():
        return {}
    _, which, counts = np.unique(hole, return_inverse=True, return_counts=True)
    crowded = counts[which] > limits.pile_up
    found: dict[int, list[BoolArray]] = {}
    bounds = np.concatenate([[0], np.cumsum(sizes)])
    at = 0
    for obj in plan:
        first, at = at, at + len(obj.pieces)
        start, stop = bounds[first], bounds[at]
        if obj.kind is Kind.RUN or not crowded[start:stop].any():
            continue
        extra = crowded[start:stop] & (_visit(which[start:stop]) > VISITS_KEPT)
        masks = np.split(extra, bounds[first + 1 : at] - start)
        for piece, mask in zip(obj.pieces, masks, strict=True):
            mask[[0, -1]] = False
            if piece.role is Role.TIE:
                mask[:] = False
        if any(mask.any() for mask in masks):
            found[obj.id] = masks
    return found


def _visit(hole: np.ndarray) -> IntArray:
    """(n,) number of the visit to its hole that each point is, from 1."""
    order = np.argsort(hole, kind="stable")
    sorted_hole = hole[order]
    fresh = np.concatenate([[True], sorted_hole[1:] != sorted_hole[:-1]])
    start = np.maximum.accumulate(np.where(fresh, np.arange(len(hole)), 0))
    visit = np.empty(len(hole), np.int32)
    visit[order] = np.arange(len(hole)) - start + 1
    return visit

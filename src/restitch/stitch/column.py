"""Underlay of satin columns: centre run, edge run, zigzag, with free choice of both ends."""

from __future__ import annotations

import numpy as np

from restitch.fabrics.model import UnderlayRule
from restitch.geometry import Ladder, smoothed
from restitch.geometry.small import along_mm, lengths_mm
from restitch.model import FloatArray, IntArray
from restitch.stitch.lines import at_distance, resampled, to_units

END_MM = 0.6
"""Underlay stops this far before the column's ends (or its inset, if that is more) ..."""
END_SHARE = 0.25
"""... but at most this share of its length. Our choice."""
INSET_SHARE = 0.42
"""In narrow columns the edge run lies this share of the width inside. Our choice."""
SEPARATE_MM = 0.8
"""Where a wide inset leaves less than this between the two edge runs, one centre run does the
work. Our choice, so that holes in leather do not meet (DAS)."""
RAIL_WINDOW = 7
"""Rails are averaged over so many strokes: underlay need not follow jitter."""


def column_underlay(rungs: Ladder, rule: UnderlayRule, enter: int = 0, leave: int = 0) -> IntArray:
    """Return (n, 2) needle points, 0.1 mm, of the underlay that the rule asks for this column.

    It begins at the end ``enter`` of the column and stops at the end ``leave`` (0: where the
    cover begins, 1: where it ends). All four pairs exist: a run along the centre moves the
    needle to the other end where the kind of underlay does not.
    """
    width = rungs.width_mm
    centre, left, right = _lines(rungs, rule.inset_mm)
    if enter:
        centre, left, right = centre[::-1], left[::-1], right[::-1]
    away = enter != leave
    if width < rule.centre_run_below_mm or _edges_meet(width, rule):
        parts = [resampled(centre, rule.stitch_mm)]
        if not away and not rungs.is_ring:
            # the way back steps between the holes of the way out
            parts.append(resampled(centre[::-1], rule.stitch_mm, phase=0.5))
        return to_units(np.concatenate(parts))
    parts = [_edge(left, rule), _edge(right[::-1], rule)]
    at_start = True
    if rule.zigzag_from_mm is not None and width >= rule.zigzag_from_mm:
        parts.append(_zigzag(left, right, rule))
        at_start = False
        if rule.double_zigzag:
            parts.append(_zigzag(left[::-1], right[::-1], rule))
            at_start = True
    if at_start == away and not rungs.is_ring:
        way = centre if at_start else centre[::-1]
        parts.append(resampled(way, rule.stitch_mm)[1:])
    return to_units(np.concatenate(parts))


def _edges_meet(width_mm: float, rule: UnderlayRule) -> bool:
    """Whether an inset over 1 mm leaves no room for two edge runs."""
    return rule.inset_mm > 1.0 and width_mm < 2.0 * rule.inset_mm + SEPARATE_MM


def _lines(rungs: Ladder, inset_mm: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Centre line and both edges moved inside, without the column's ends; equal node numbers."""
    window = min(RAIL_WINDOW, len(rungs) // 2 * 2 - 1)
    rails = [smoothed(rail, window) for rail in rungs.rails_mm]
    centre = (rails[0] + rails[1]) / 2.0
    along = along_mm(centre)
    length = float(along[-1])
    cut = 0.0 if rungs.is_ring else min(max(END_MM, inset_mm), END_SHARE * length)
    count = max(8, int(length / 0.5))
    wanted = np.linspace(cut, length - cut, count)
    at = np.interp(wanted, along + 1e-9 * np.arange(len(along)), np.arange(len(along)))
    number = np.arange(len(along))
    middle, *sides = (
        np.stack([np.interp(at, number, line[:, a]) for a in (0, 1)], axis=1)
        for line in (centre, *rails)
    )
    edges = []
    for side in sides:
        inward = middle - side
        half = np.maximum(np.hypot(*inward.T), 1e-9)
        share = np.minimum(inset_mm / half, 2.0 * INSET_SHARE)
        edges.append(side + inward * share[:, None])
    return middle, edges[0], edges[1]


def _edge(line_mm: FloatArray, rule: UnderlayRule) -> FloatArray:
    return resampled(line_mm, rule.stitch_mm)


def _zigzag(left: FloatArray, right: FloatArray, rule: UnderlayRule) -> FloatArray:
    """(n, 2) holes that go from side to side, from the begin of both edges to their end."""
    length = float(max(lengths_mm(left).sum(), lengths_mm(right).sum()))
    count = max(2, round(2.0 * length / rule.zigzag_spacing_mm))
    share = np.linspace(0.0, 1.0, count + 1)
    sides = [at_distance(line, share * lengths_mm(line).sum()) for line in (left, right)]
    odd = np.arange(count + 1) % 2 == 1
    return np.where(odd[:, None], sides[1], sides[0])

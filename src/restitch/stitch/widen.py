"""Widening columns and fill rows where they stand, stroke end by stroke end; drawing ends in."""

from __future__ import annotations

import numpy as np

from restitch.geometry import Ladder
from restitch.geometry.small import along_mm
from restitch.model import UNITS_PER_MM, FloatArray, IntArray

EVEN_NODES = 7
"""Growth is evened out over so many stroke ends of one side, so that edges stay smooth."""
CLOSER_SHARE = 0.10
"""Drawing an end in brings the strokes of its half of the column closer by this share at most.
Our choice: the spacing stays one that the fabric bears."""


def outward(rungs: Ladder) -> FloatArray:
    """(k + 1, 2) unit direction away from the column at each node, along the strokes."""
    unit = rungs.chords_mm / np.maximum(rungs.widths_mm, 1e-9)[:, None]
    way = np.zeros((len(rungs) + 1, 2))
    way[1:] += unit
    way[:-1] -= unit
    length = np.hypot(way[:, 0], way[:, 1])
    safe: FloatArray = np.where(length[:, None] > 0.5, way / np.maximum(length, 1e-9)[:, None], 0.0)
    return safe


def widened(rungs: Ladder, growth_mm: FloatArray, shift_mm: FloatArray | float = 0.0) -> IntArray:
    """Return the same needle points, 0.1 mm, with each stroke end moved outward by its growth.

    ``growth_mm`` has one entry for each node. Holes inside the strokes move by ``shift_mm`` only,
    (n, 2), which is added to every point.
    """
    grown = evened(growth_mm)[:, None] * outward(rungs)
    points = rungs.xy_mm + shift_mm
    points[rungs.first] += grown[:-1]
    # a turn without an edge step is one point: it must not move twice
    apart = np.ones(len(rungs), bool)
    apart[:-1] = rungs.last[:-1] != rungs.first[1:]
    points[rungs.last[apart]] += grown[1:][apart]
    moved: IntArray = np.rint(points * UNITS_PER_MM).astype(np.int32)
    return moved


def drawn_in(rungs: Ladder, begin_mm: float, end_mm: float) -> FloatArray:
    """Return the way of each needle point, (n, 2) mm, when the ends of a column are drawn in.

    Each half of the column closes up towards the middle along its centre line: the end by the
    amount asked for, or by a tenth of the half where that is less.
    """
    along = along_mm(rungs.smooth_centre_mm)
    half = along[-1] / 2.0
    begin, end = (min(amount, CLOSER_SHARE * half) for amount in (begin_mm, end_mm))
    left, right = (
        np.clip(1.0 - far / max(half, 1e-9), 0.0, 1.0) for far in (along, along[-1] - along)
    )
    shift = (begin * left - end * right)[:, None] * rungs.headings
    at = np.concatenate([rungs.first[:1], rungs.last])
    number = np.arange(len(rungs.xy_mm))
    return np.stack([np.interp(number, at, shift[:, axis]) for axis in (0, 1)], axis=1)


def evened(growth_mm: FloatArray) -> FloatArray:
    """Growth no larger than that of the near nodes on the same side."""
    even = growth_mm.copy()
    for side in (0, 1):
        values = growth_mm[side::2]
        if len(values):
            reach = EVEN_NODES // 2
            padded = np.pad(values, reach, mode="edge")
            even[side::2] = np.lib.stride_tricks.sliding_window_view(padded, EVEN_NODES).min(axis=1)
    return even

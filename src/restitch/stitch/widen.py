"""Widening columns and fill rows where they stand, stroke end by stroke end."""

from __future__ import annotations

import numpy as np

from restitch.geometry import Ladder
from restitch.model import UNITS_PER_MM, FloatArray, IntArray

EVEN_NODES = 7
"""Growth is evened out over so many stroke ends of one side, so that edges stay smooth."""


def outward(rungs: Ladder) -> FloatArray:
    """(k + 1, 2) unit direction away from the column at each node, along the strokes."""
    unit = rungs.chords_mm / np.maximum(rungs.widths_mm, 1e-9)[:, None]
    way = np.zeros((len(rungs) + 1, 2))
    way[1:] += unit
    way[:-1] -= unit
    length = np.hypot(way[:, 0], way[:, 1])
    safe: FloatArray = np.where(length[:, None] > 0.5, way / np.maximum(length, 1e-9)[:, None], 0.0)
    return safe


def widened(rungs: Ladder, growth_mm: FloatArray) -> IntArray:
    """Return the same needle points with each stroke end moved outward by its growth.

    ``growth_mm`` has one entry for each node. Holes inside the strokes stay where they are.
    """
    grown = evened(growth_mm)[:, None] * outward(rungs)
    points = rungs.xy_mm.copy()
    points[rungs.first] += grown[:-1]
    # a turn without an edge step is one point: it must not move twice
    apart = np.ones(len(rungs), bool)
    apart[:-1] = rungs.last[:-1] != rungs.first[1:]
    points[rungs.last[apart]] += grown[1:][apart]
    moved: IntArray = np.rint(points * UNITS_PER_MM).astype(np.int32)
    return moved


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

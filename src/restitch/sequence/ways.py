"""Ways for the needle under an object's own cover, from one of its spots to another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from restitch.model import UNITS_PER_MM, FloatArray, IntArray
from restitch.sequence.settings import ORDER, OrderSettings
from restitch.stitch.lines import lengths_mm, resampled, to_units

if TYPE_CHECKING:
    from shapely import Geometry

Line = FloatArray | None
"""A line to run along, or None where there is none."""

NO_POINTS: IntArray = np.zeros((0, 2), np.int32)


def way(
    line_mm: Line,
    closed: bool,
    begin: IntArray,
    end: IntArray,
    settings: OrderSettings = ORDER,
) -> IntArray | None:
    """Return the needle points (0.1 mm) between two spots, both left out, along a line under cover.

    No points where one hidden stitch reaches; None where there is no line to run along or it
    passes either spot too far off.
    """
    a, b = begin / UNITS_PER_MM, end / UNITS_PER_MM
    if float(np.hypot(*(b - a))) <= settings.hidden_stitch_mm:
        return NO_POINTS
    if line_mm is None or len(line_mm) < 2:
        return None
    i, j = _nearest(line_mm, a), _nearest(line_mm, b)
    path = np.vstack([a, _stretch(line_mm, closed, i, j), b])
    off_mm = max(float(np.hypot(*(line_mm[i] - a))), float(np.hypot(*(line_mm[j] - b))))
    if off_mm > settings.off_line_mm:
        return None
    return to_units(resampled(path, settings.travel_stitch_mm)[1:-1])


def inset_edge(outline: Geometry, inset_mm: float) -> Line:
    """Return the outer edge of an area, moved inside: (n, 2) in mm, closed; None if none is."""
    inner = outline.buffer(-inset_mm, quad_segs=2)
    parts = [g for g in getattr(inner, "geoms", [inner]) if not g.is_empty]
    if len(parts) != 1:
        return None
    edge = np.asarray(parts[0].exterior.coords, np.float64)[:-1]
    length = float(lengths_mm(np.vstack([edge, edge[:1]])).sum())
    # even steps, so that any spot is near a point of the line
    count = max(4, int(length))
    return resampled(np.vstack([edge, edge[:1]]), length / count)[:-1]


def _nearest(line_mm: FloatArray, point_mm: FloatArray) -> int:
    return int(np.argmin(((line_mm - point_mm) ** 2).sum(axis=1)))


def _stretch(line_mm: FloatArray, closed: bool, i: int, j: int) -> FloatArray:
    """Points i to j of a line; of a closed one the shorter way round."""
    direct = line_mm[i : j + 1] if i <= j else line_mm[j : i + 1][::-1]
    if not closed:
        return direct
    round_about = (
        np.vstack([line_mm[j:], line_mm[: i + 1]])[::-1]
        if i <= j
        else np.vstack([line_mm[i:], line_mm[: j + 1]])
    )
    return min(direct, round_about, key=lambda p: float(lengths_mm(p).sum()))

"""Laying fill rows anew between the edges of a fill that is there."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from restitch.geometry import Ladder
from restitch.geometry.small import lengths_mm
from restitch.model import FloatArray, IntArray
from restitch.stitch.lines import to_units

SHIFTS = (0.0, 0.5, 0.25, 0.75)
"""Offset of the inner holes over four rows, in stitches: holes line up on every fourth row only
(PW19c)."""
STITCH_BOUNDS_MM = (2.5, 5.0)
"""A fill's stitch is held within these (PW16a, COMP: 3 to 5, core 3 to 4)."""
LEAST_END_MM = 0.9
"""An inner hole keeps this far from the row's ends. Our choice."""
PARALLEL = 0.9
"""Least agreement of the rows on one axis; curved rows are left alone."""
JUMP_ROWS = 6.0
"""A step of more rows than this between two strokes starts a new section."""


def fill_stitch_mm(rows: Ladder) -> float:
    """Return the fill's own stitch length: the 60th percentile, held within sound bounds."""
    lengths = lengths_mm(rows.xy_mm)
    low, high = STITCH_BOUNDS_MM
    return float(
        np.clip(
            np.percentile(lengths[lengths > 1.0], 60) if (lengths > 1.0).any() else low, low, high
        )
    )


def rerowed(
    rows: Ladder, spacing_mm: float, stitch_mm: float, least_mm: float = 0.0
) -> IntArray | None:
    """Return (n, 2) needle points, 0.1 mm, of level rows between the same edges, or None.

    ``spacing_mm`` is the two-line pitch. First and last point stay; each section leaves on the
    side it left before. None where the rows are curved or too few to tell.
    """
    if len(rows) < 4 or rows.agreement < PARALLEL:
        return None
    axis = rows.axis
    normal = np.array([-axis[1], axis[0]])
    frame = np.stack([axis, normal], axis=1)
    nodes = rows.nodes_mm @ frame
    pitch = spacing_mm / 2.0
    laid: list[FloatArray] = []
    for start, stop in _sections(nodes[:, 1], rows.fill_spacing_mm / 2.0):
        part = _section(nodes[start : stop + 1], pitch, stitch_mm, max(least_mm, LEAST_END_MM))
        laid.append(part)
    points = np.concatenate(laid) @ frame.T
    points[0], points[-1] = rows.xy_mm[0], rows.xy_mm[-1]
    return to_units(points)


def _sections(level: FloatArray, row_mm: float) -> list[tuple[int, int]]:
    """Node ranges (both ends included) whose rows go steadily one way."""
    middle = (level[:-1] + level[1:]) / 2.0
    step = np.diff(middle)
    limit = JUMP_ROWS * max(row_mm, 0.05)
    direction = np.sign(middle[-1] - middle[0]) or 1.0
    breaks = np.flatnonzero((np.abs(step) > limit) | _turned(step * direction, row_mm)) + 1
    bounds = [0, *breaks.tolist(), len(level) - 1]
    return [(a, b) for a, b in itertools.pairwise(bounds) if b > a]


def _turned(step: FloatArray, row_mm: float) -> NDArray[np.bool_]:
    """Where the rows begin to run the other way for good (an arm sewn back over its side)."""
    size = 5
    if len(step) < 2 * size:
        return np.zeros(len(step), bool)
    total = np.concatenate([[0.0], np.cumsum(np.clip(step, -2 * row_mm, 2 * row_mm))])
    ahead = np.zeros(len(step))
    behind = np.zeros(len(step))
    ahead[: -size + 1] = total[size:] - total[:-size]
    behind[size:] = total[size:-1] - total[: -size - 1]
    turned = (ahead * behind < 0) & (np.minimum(np.abs(ahead), np.abs(behind)) > size * row_mm / 2)
    # one break for each run of candidates
    turned[1:] &= ~turned[:-1]
    found: NDArray[np.bool_] = turned
    return found


def _section(nodes: FloatArray, pitch: float, stitch_mm: float, least_mm: float) -> FloatArray:
    """(n, 2) needle points (axis, level) of one section, from its first node to its last."""
    if len(nodes) < 4:
        return nodes
    up = 1.0 if nodes[-2:, 1].mean() >= nodes[:2, 1].mean() else -1.0
    level = nodes[:, 1] * up
    odd = (len(nodes) - 1) % 2
    rows = max(2 - odd, odd + 2 * round((float(level.max() - level[0]) / pitch - odd) / 2.0))
    levels = level[0] + (level.max() - level[0]) * np.arange(rows + 1) / rows
    edges = [_edge(nodes[side::2, 0], level[side::2], levels) for side in (0, 1)]
    side = np.arange(rows + 1) % 2
    ends = np.where(side == 0, edges[0], edges[1])
    return _rows(ends, levels, pitch, stitch_mm, least_mm) * [1.0, up]


def _edge(position: FloatArray, level: FloatArray, levels: FloatArray) -> FloatArray:
    """The edge's position at each level; the level is made monotone first."""
    rising = np.maximum.accumulate(level)
    return np.interp(levels, rising + 1e-9 * np.arange(len(rising)), position)


def _rows(
    ends: FloatArray, levels: FloatArray, pitch: float, stitch_mm: float, least_mm: float
) -> FloatArray:
    """Rows with inner holes on a fixed grid; every row lies level with its own end."""
    begin, end = ends[:-1], ends[1:]
    number = round(float(levels[0]) / pitch) + np.arange(len(end))
    shift = np.asarray(SHIFTS)[number % len(SHIFTS)]
    low, high = np.minimum(begin, end) + least_mm, np.maximum(begin, end) - least_mm
    first = np.ceil(low / stitch_mm - shift).astype(np.intp)
    count = np.maximum(np.floor(high / stitch_mm - shift).astype(np.intp) - first + 1, 0)
    row = np.repeat(np.arange(len(end)), count + 1)
    inner = np.arange(len(row)) - np.repeat(np.cumsum(count + 1) - (count + 1), count + 1)
    is_end = inner == count[row]
    forward = (end >= begin)[row]
    slot = np.where(forward, inner, count[row] - 1 - inner)
    hole = (first[row] + slot + shift[row]) * stitch_mm
    across = np.where(is_end, end[row], hole)
    points = np.stack([across, levels[1:][row]], axis=1)
    return np.concatenate([[[ends[0], levels[0]]], points])

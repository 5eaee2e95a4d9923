"""Laying satin anew between the rails of a column that is there."""

from __future__ import annotations

import numpy as np

from restitch.geometry import IndexArray, Ladder
from restitch.geometry.small import lengths_mm
from restitch.model import FloatArray, IntArray
from restitch.stitch.lines import to_units

SHORT_STITCH_SHARE = 0.6
"""Inside a curve every second stitch is drawn back where the inside spacing is under this share
of the nominal one. From memory (common practice)."""
DRAW_BACK = 0.22
"""How far a short stitch stops before the edge, as a share of the stroke: 15 to 30 %, from
memory."""
SHORT_STITCH_FROM_MM = 1.5
"""Narrower columns get no short stitches. Our choice."""
SPLIT_PIECE_MM = 5.8
"""A split stroke is cut into pieces no longer than this. Our choice: pieces stay under the limit
with their holes shifted."""
SPLIT_SHIFTS = (0.0, 0.19, -0.19, 0.095)
"""Shift of the split holes over four strokes, in pieces: a larger one leaves pieces that are over
the limit again."""


def relaid_satin(rungs: Ladder, spacing_mm: float, split_over_mm: float) -> IntArray:
    """Return (n, 2) needle points, 0.1 mm, of a satin between the same rails at another spacing.

    The new strokes lie at equal steps of advance. First and last point stay, and so does the
    parity of the strokes: the column leaves on the side it left before. Strokes longer than
    ``split_over_mm`` are split with staggered holes.
    """
    advance = np.concatenate([[0.0], np.cumsum(rungs.advance_mm)])
    odd = len(rungs) % 2
    strokes = max(2 - odd, odd + 2 * round((float(advance[-1]) * 2.0 / spacing_mm - odd) / 2.0))
    number = np.arange(strokes + 1)
    at = np.interp(advance[-1] * number / strokes, advance, np.arange(len(advance)))
    points = _on_rails(rungs, at, number % 2)
    points = _short_stitches(points, spacing_mm)
    points[0], points[-1] = rungs.xy_mm[0], rungs.xy_mm[-1]
    return to_units(split_strokes(points, split_over_mm))


def _on_rails(rungs: Ladder, at: FloatArray, side: IndexArray) -> FloatArray:
    """(n, 2) points at node numbers ``at``, each on rail 0 or 1."""
    number = np.arange(len(rungs) + 1)
    both = [
        np.stack([np.interp(at, number, rail[:, a]) for a in (0, 1)], axis=1)
        for rail in rungs.rails_mm
    ]
    return np.where(side[:, None] == 0, both[0], both[1])


def _short_stitches(points_mm: FloatArray, spacing_mm: float) -> FloatArray:
    """Draw back every second stitch on the inside of tight curves."""
    points = points_mm.copy()
    if len(points) < 8:
        return points
    width = lengths_mm(points_mm)
    step = np.hypot(*(points_mm[2:] - points_mm[:-2]).T)
    # the holes before and after on the same side must both be near: one jitter is no curve
    gap = np.full(len(points), spacing_mm)
    gap[2:-2] = np.maximum(step[:-2], step[2:])
    tight = gap < SHORT_STITCH_SHARE * spacing_mm
    turn = np.arange(len(points)) // 2 % 2 == 1
    drawn = tight & turn
    drawn[[0, 1, -2, -1]] = False
    drawn[1:] &= width >= SHORT_STITCH_FROM_MM
    at = np.flatnonzero(drawn)
    across = (points_mm[at - 1] + points_mm[at + 1]) / 2.0
    points[at] += DRAW_BACK * (across - points_mm[at])
    return points


def split_strokes(
    points_mm: FloatArray, over_mm: float, piece_mm: float = SPLIT_PIECE_MM
) -> FloatArray:
    """(m, 2) the same strokes, those longer than ``over_mm`` split with staggered holes."""
    steps = np.diff(points_mm, axis=0)
    lengths = np.hypot(*steps.T)
    pieces = np.where(lengths > over_mm, np.ceil(lengths / piece_mm), 1).astype(np.intp)
    if not len(pieces) or pieces.max() == 1:
        return points_mm
    stroke = np.repeat(np.arange(len(steps)), pieces)
    piece = np.arange(len(stroke)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    # odd strokes come from the other side: mirror their shift so that it means the same place
    shift = np.resize(SPLIT_SHIFTS, len(steps))
    shift[1::2] *= -1
    share = piece + np.where(piece > 0, shift[stroke], 0.0)
    laid = points_mm[stroke] + steps[stroke] * (share / pieces[stroke])[:, None]
    return np.concatenate([laid, points_mm[-1:]])

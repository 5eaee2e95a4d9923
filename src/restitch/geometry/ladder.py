"""Ladders: the one tool for satins and fills.

A satin column and a section of fill rows are the same thing to the needle: strokes that turn
back and forth between two sides. Stroke ends alternate between the sides; each side,
interpolated over the stroke number, is a rail. Holes inside a stroke (a split satin, a fill row)
are not ends, so one measure serves satins, split satins, fills and rings.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from restitch.geometry.small import dot, headings, lengths, lengths_mm, median
from restitch.model import UNITS_PER_MM, BoolArray, FloatArray, IntArray, Piece

IndexArray = NDArray[np.intp]

NEAR_MM = 0.3
"""Needle points nearer than this to the one before tell no direction (0.1 mm rounding); they are
not stroke ends. Our choice, the shortest stitch that forms."""
SAWTOOTH_COS = 0.574
"""Cosine of 55 degrees: turns sharper than this that alternate in sign are a zigzag's ends."""
EDGE_STEP_MM = 1.2
"""A stitch along the edge between two strokes is at most this long."""
EDGE_STEP_COS = -0.64
"""The strokes beside an edge step run against each other by at least this cosine."""
RING_GAP_MM = 1.2
"""First and last stroke of a ring lie no farther apart than this (or 0.6 of the width)."""
RAIL_WINDOW = 9
"""Rails are averaged over so many strokes before their way is measured."""
OUTER_CAP = 1.6
"""The outer side of a curve counts at most this many times the way of the centre line."""
LONG_STROKE_SHARE = 0.5
"""Strokes longer than this share of the median tell the axis."""
KEPT = 16384
"""Pieces whose ladder is remembered: pieces never change, so neither does their ladder. A rescue of
a million stitches meets some 12,000 (measured)."""


@dataclass(frozen=True, eq=False)
class Ladder:
    """Strokes between two sides, measured in millimetres.

    Node ``j`` is the turn between stroke ``j - 1`` and stroke ``j`` (node 0 the first point, node
    ``k`` the last). Even nodes lie on one side (rail 0), odd nodes on the other (rail 1).
    """

    xy_mm: FloatArray
    """(n, 2) all needle points."""
    first: IndexArray
    """(k,) index of the point where each stroke begins."""
    last: IndexArray
    """(k,) index of the point where each stroke ends; ``last[j] + 1 == first[j + 1]`` where a
    stitch along the edge lies between two strokes, else they are equal."""

    def __len__(self) -> int:
        return len(self.first)

    @cached_property
    def nodes_mm(self) -> FloatArray:
        """(k + 1, 2) the turns; the middle of the edge step where there is one."""
        ends = np.concatenate([self.first[:1], self.last])
        begins = np.concatenate([self.first, self.last[-1:]])
        nodes: FloatArray = (self.xy_mm[ends] + self.xy_mm[begins]) / 2.0
        return nodes

    @cached_property
    def chords_mm(self) -> FloatArray:
        """(k, 2) from the begin to the end of each stroke."""
        return self.xy_mm[self.last] - self.xy_mm[self.first]

    @cached_property
    def widths_mm(self) -> FloatArray:
        """(k,) length of each stroke."""
        return lengths(self.chords_mm)

    @cached_property
    def width_mm(self) -> float:
        """Median length of the inner strokes."""
        inner = self.widths_mm[1:-1] if len(self) > 4 else self.widths_mm
        return median(inner) if len(inner) else 0.0

    @cached_property
    def rails_mm(self) -> tuple[FloatArray, FloatArray]:
        """Two (k + 1, 2) rails: both sides at every node number."""
        return _rail(self.nodes_mm, 0), _rail(self.nodes_mm, 1)

    @cached_property
    def centre_mm(self) -> FloatArray:
        """(k + 1, 2) centre line, halfway between the rails."""
        left, right = self.rails_mm
        return (left + right) / 2.0

    @cached_property
    def smooth_centre_mm(self) -> FloatArray:
        """(k + 1, 2) centre line averaged over 3 to 9 strokes, ends kept.

        End jitter of 0.2 mm at a dense 0.2 mm spacing would otherwise count as way.
        """
        return smoothed(self.centre_mm, min(max(len(self) // 4 * 2 + 1, 3), 9))

    @cached_property
    def length_mm(self) -> float:
        """Length of the smoothed centre line."""
        return float(lengths_mm(self.smooth_centre_mm).sum())

    @cached_property
    def headings(self) -> FloatArray:
        """(k + 1, 2) unit direction of the smoothed centre line."""
        return headings(self.smooth_centre_mm)

    @cached_property
    def _advances_mm(self) -> tuple[FloatArray, FloatArray]:
        """(k,) how far each stroke moves on along the centre line, and on its outer side.

        Steps are projected on the smoothed centre line; their bare lengths would count end
        jitter as way.
        """
        way = self.headings
        along = (way[:-1] + way[1:]) / 2.0
        rails = smoothed(np.hstack(self.rails_mm), RAIL_WINDOW)
        lines = np.hstack([self.smooth_centre_mm, rails]).reshape(-1, 3, 2)
        steps = (lines[1:] - lines[:-1]) * along[:, None]
        ways = np.maximum(steps[..., 0] + steps[..., 1], 0.0)
        centre, *sides = ways.T
        return centre, np.maximum(np.maximum(*sides), centre)

    @cached_property
    def advance_mm(self) -> FloatArray:
        """(k,) how far each stroke moves the column on: mean of centre line and outer side."""
        centre, outer = self._advances_mm
        mean: FloatArray = (centre + np.minimum(outer, OUTER_CAP * centre)) / 2.0
        return mean

    @cached_property
    def satin_spacing_mm(self) -> float:
        """Same-side pitch of the strokes, measured on the outer side of every curve."""
        return 2.0 * middle_mean(self._advances_mm[1])

    @cached_property
    def axis(self) -> FloatArray:
        """(2,) unit direction of the strokes: doubled-angle mean of the long ones."""
        return self._axis_and_agreement[0]

    @cached_property
    def agreement(self) -> float:
        """0..1: how parallel the long strokes are (1: all on one axis)."""
        return self._axis_and_agreement[1]

    @cached_property
    def _axis_and_agreement(self) -> tuple[FloatArray, float]:
        widths = self.widths_mm
        chords = self.chords_mm[widths >= LONG_STROKE_SHARE * median(widths)]
        turn = chords[:, 0] + 1j * chords[:, 1]
        doubled = turn**2 / np.maximum(np.abs(turn), 1e-9)
        total = doubled.sum()
        angle = np.angle(total) / 2.0
        agreement = float(np.abs(total) / max(np.abs(doubled).sum(), 1e-9))
        return np.array([np.cos(angle), np.sin(angle)]), agreement

    @cached_property
    def fill_spacing_mm(self) -> float:
        """Two rows' pitch: twice the middle step of the row middles along the row normal.

        The same-side distance is wrong for fills: slanted edges stretch it.
        """
        if len(self) < 2:
            return 0.0
        normal = np.array([-self.axis[1], self.axis[0]])
        middles = (self.nodes_mm[:-1] + self.nodes_mm[1:]) @ normal / 2.0
        return 2.0 * middle_mean(np.abs(np.diff(middles)))

    @cached_property
    def is_ring(self) -> bool:
        """Whether the column closes on itself."""
        if len(self) < 8 or self.length_mm < 4.0 * self.width_mm:
            return False
        middles = (self.nodes_mm[:-1] + self.nodes_mm[1:]) / 2.0
        gap = float(np.hypot(*(middles[0] - middles[-1])))
        return gap < max(RING_GAP_MM, 0.6 * self.width_mm)

    @cached_property
    def holes_inside(self) -> IndexArray:
        """(k,) needle points strictly inside each stroke."""
        holes: IndexArray = np.maximum(self.last - self.first - 1, 0)
        return holes

    @cached_property
    def is_regular(self) -> bool:
        """Whether it is a ladder at all: nearly all neighbouring strokes run against each other."""
        if len(self) < 3:
            return False
        chords = self.chords_mm / np.maximum(self.widths_mm, 1e-9)[:, None]
        against = dot(chords[:-1], chords[1:]) < -0.3
        return bool(against.mean() > 0.9)


def _rail(nodes_mm: FloatArray, side: int) -> FloatArray:
    """(k + 1, 2) the nodes of one side, and halfway between them where the other side turns."""
    rail = nodes_mm.copy()
    own = nodes_mm[side::2]
    if not len(own):
        return rail
    between = rail[side + 1 : -1 : 2]
    between[:] = (own[:-1] + own[1:])[: len(between)] / 2.0
    if side:
        rail[0] = own[0]
    if len(rail) % 2 == side:
        rail[-1] = own[-1]
    return rail


def middle_mean(values: FloatArray) -> float:
    """Mean of the middle half: as robust as the median, but not stuck on the 0.1 mm grid."""
    ordered = np.sort(values)
    quarter = len(ordered) // 4
    return float(ordered[quarter : len(ordered) - quarter].mean())


def smoothed(line_mm: FloatArray, window: int) -> FloatArray:
    """Running mean of (n, k) values over an odd window of points, shrunk towards both ends, ends
    kept."""
    count = len(line_mm)
    if count < 3 or window < 3:
        return line_mm
    total = np.zeros((count + 1, line_mm.shape[1]))
    np.cumsum(line_mm, axis=0, out=total[1:])
    low, high, size = _windows(count, window)
    mean: FloatArray = (total[high] - total[low]) / size
    return mean


@lru_cache(maxsize=KEPT)
def _windows(count: int, window: int) -> tuple[IndexArray, IndexArray, IndexArray]:
    """Of each point: first point of its window, the one after the last, how many (as a column)."""
    at = np.arange(count)
    half = np.minimum(window // 2, np.minimum(at, count - 1 - at))
    return at - half, at + half + 1, (2 * half + 1)[:, None]


def ladder(xy: IntArray | FloatArray) -> Ladder:
    """Return the ladder of unbroken stitching: (n, 2) needle points in 0.1 mm, n >= 2.

    Always succeeds: stitching that does not turn back is one stroke. Ask `Ladder.is_regular`
    whether the strokes make a ladder.
    """
    xy_mm = np.asarray(xy, np.float64) / UNITS_PER_MM
    kept = spaced_points(xy_mm, NEAR_MM)
    ends, edge = _stroke_ends(xy_mm[kept])
    begins = ends[1:-1] + edge[1:-1]
    first = kept[np.concatenate([ends[:1], begins])]
    last = kept[ends[1:]]
    return Ladder(xy_mm, first, last)


@lru_cache(maxsize=KEPT)
def ladder_of(piece: Piece) -> Ladder:
    """Return the ladder of a piece; kept, because judges, fixes and order all ask for it."""
    return ladder_of_points(np.asarray(piece.xy, np.int32).tobytes())


@lru_cache(maxsize=KEPT)
def ladder_of_points(points: bytes) -> Ladder:
    """As `ladder_of`, by the bytes of (n, 2) int32 points: most pieces of a result read back are
    those that were sewn."""
    return ladder(np.frombuffer(points, np.int32).reshape(-1, 2))


def spaced_points(xy_mm: FloatArray, least_mm: float) -> IndexArray:
    """Indices of the points at least that far from the one before, always both ends."""
    count = len(xy_mm)
    steps = lengths_mm(xy_mm)
    far = np.ones(count, bool)
    far[1:] = steps >= least_mm
    far[-1] = True
    if count > 2 and steps[-1] < least_mm:
        # the last point stands for the one just before it
        far[-2] = False
    far[0] = True
    return np.flatnonzero(far)


def _stroke_ends(xy_mm: FloatArray) -> tuple[IndexArray, IndexArray]:
    """Indices of all stroke ends (first and last point included) and 1 where an edge step begins.

    Where two ends are joined by an edge step only the first of them is returned.
    """
    count = len(xy_mm)
    steps = xy_mm[1:] - xy_mm[:-1]
    size = np.maximum(lengths(steps), 1e-9)
    units = steps / size[:, None]
    cosine = np.ones(count)
    cosine[1:-1] = dot(units[:-1], units[1:])
    cross = np.zeros(count)
    cross[1:-1] = units[:-1, 0] * units[1:, 1] - units[:-1, 1] * units[1:, 0]
    end = (cosine < 0.0) | _sawtooth(cosine, cross)
    edge = _edge_steps(units, size)
    starts = np.flatnonzero(edge)
    end[starts] = True
    end[starts + 1] = False
    end[[0, -1]] = True
    ends = np.flatnonzero(end)
    step_after = np.zeros(count, np.intp)
    step_after[starts] = 1
    return ends, step_after[ends]


def _sawtooth(cosine: FloatArray, cross: FloatArray) -> BoolArray:
    """Turns over 55 degrees whose sign alternates with both neighbours (open narrow zigzag)."""
    sharp = cosine < SAWTOOTH_COS
    found = np.zeros(len(cosine), bool)
    sign = np.sign(cross)
    found[1:-1] = (
        sharp[1:-1]
        & sharp[:-2]
        & sharp[2:]
        & (sign[1:-1] * sign[:-2] < 0)
        & (sign[1:-1] * sign[2:] < 0)
    )
    return found


def _edge_steps(units: FloatArray, size: FloatArray) -> BoolArray:
    """Stitches that run along the edge from one stroke to the next and belong to neither."""
    found = np.zeros(len(size), bool)
    if len(size) < 3:
        return found
    inner = size[1:-1]
    shorter = inner < np.minimum(np.minimum(size[:-2], size[2:]) / 1.2, EDGE_STEP_MM)
    against = dot(units[:-2], units[2:]) < EDGE_STEP_COS
    found[1:-1] = shorter & against
    # of two candidates in a row only the first can be the step between the strokes
    found[1:] &= ~found[:-1]
    return found

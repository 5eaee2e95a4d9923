"""Ways for the needle under an object's own cover, from one of its spots to another."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import ceil, copysign, sqrt
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from restitch.geometry.small import along_mm, lengths_mm
from restitch.model import UNITS_PER_MM, FloatArray, IntArray
from restitch.sequence.settings import ORDER, OrderSettings
from restitch.stitch.lines import resampled, to_units

if TYPE_CHECKING:
    from shapely import Geometry


@dataclass(frozen=True, eq=False)
class CoveredLine:
    """A line that lies under an object's cover: the middle of a column, the inside of an edge."""

    xy_mm: FloatArray
    """(n, 2), n >= 2; a closed line does not repeat its first point."""
    closed: bool
    settings: OrderSettings = ORDER

    @cached_property
    def along_mm(self) -> list[float]:
        """n ways from the first point; of a closed line n + 1, the last all the way round."""
        line = np.vstack([self.xy_mm, self.xy_mm[:1]]) if self.closed else self.xy_mm
        along: list[float] = along_mm(line).tolist()
        return along

    def run(self, begin: IntArray, end: IntArray) -> Run | None:
        """Return the run between two spots (0.1 mm), or None where the line passes too far off."""
        # plain numbers: an object asks for ten runs between a few spots
        a, b = _mm(begin), _mm(end)
        if abs(b - a) <= self.settings.hidden_stitch_mm:
            return Run(self, a, b, 0, 0, 0)
        (i, off_a), (j, off_b) = self._nearest(a), self._nearest(b)
        if max(off_a, off_b) > self.settings.off_line_mm:
            return None
        length = off_a + abs(self._way_round(i, j)) + off_b
        holes = max(0, ceil(length / self.settings.travel_stitch_mm - 1e-6) - 1)
        return Run(self, a, b, i, j, holes)

    def _way_round(self, i: int, j: int) -> float:
        """Way from point i to j, negative against the line; of a closed line the shorter one."""
        direct = self.along_mm[j] - self.along_mm[i]
        if not self.closed:
            return direct
        total = self.along_mm[-1]
        return direct if abs(direct) <= total / 2 else direct - copysign(total, direct)

    def stretch(self, i: int, j: int) -> FloatArray:
        """(k, 2) points from i to j in mm, both included."""
        count = len(self.xy_mm)
        onward = self._way_round(i, j) >= 0
        if self.closed:
            steps = (j - i) % count if onward else -((i - j) % count)
        else:
            steps = j - i
        at = i + np.arange(0, steps + (1 if onward else -1), 1 if onward else -1)
        points: FloatArray = self.xy_mm[at % count]
        return points

    def _nearest(self, spot_mm: complex) -> tuple[int, float]:
        """Point next to a spot, and how far off it is."""
        found = self._known.get(spot_mm)
        if found is None:
            x, y = self._x_and_y
            square = (x - spot_mm.real) ** 2 + (y - spot_mm.imag) ** 2
            at = int(square.argmin())
            found = self._known[spot_mm] = at, sqrt(square[at])
        return found

    @cached_property
    def _known(self) -> dict[complex, tuple[int, float]]:
        return {}

    @cached_property
    def _x_and_y(self) -> FloatArray:
        return np.ascontiguousarray(self.xy_mm.T)


def _mm(spot: IntArray) -> complex:
    """A spot (0.1 mm) in mm, x + iy."""
    x, y = spot.tolist()
    return complex(x / UNITS_PER_MM, y / UNITS_PER_MM)


class Run(NamedTuple):
    """Stitches along a covered line between two spots, laid only when asked for."""

    line: CoveredLine
    begin_mm: complex
    """x + iy"""
    end_mm: complex
    first: int
    last: int
    holes: int
    """Needle points between the two spots; 0 where one hidden stitch reaches."""

    def points(self) -> IntArray:
        """(holes, 2) needle points between the two spots, both left out, 0.1 mm."""
        if not self.holes:
            return np.zeros((0, 2), np.int32)
        begin, end = ([spot.real, spot.imag] for spot in (self.begin_mm, self.end_mm))
        path = np.vstack([begin, self.line.stretch(self.first, self.last), end])
        return to_units(resampled(path, self.line.settings.travel_stitch_mm)[1:-1])


def inset_edge(outline: Geometry, settings: OrderSettings = ORDER) -> CoveredLine | None:
    """Return the outer edge of an area, moved inside; None if no single line is left.

    Its points lie about a millimetre apart, so that any spot is near one.
    """
    inner = outline.buffer(-settings.fill_inset_mm, quad_segs=2)
    parts = [g for g in getattr(inner, "geoms", [inner]) if not g.is_empty]
    if len(parts) != 1:
        return None
    edge = np.asarray(parts[0].exterior.coords, np.float64)
    length = float(lengths_mm(edge).sum())
    return CoveredLine(resampled(edge, length / max(4, int(length)))[:-1], True, settings)

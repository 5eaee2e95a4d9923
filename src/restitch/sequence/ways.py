"""Ways for the needle under an object's own cover, from one of its spots to another."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import ceil
from typing import TYPE_CHECKING

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
    def along_mm(self) -> FloatArray:
        """(n,) way from the first point; of a closed line (n + 1,), all the way round."""
        line = np.vstack([self.xy_mm, self.xy_mm[:1]]) if self.closed else self.xy_mm
        return along_mm(line)

    def run(self, begin: IntArray, end: IntArray) -> Run | None:
        """Return the run between two spots (0.1 mm), or None where the line passes too far off."""
        a, b = begin / UNITS_PER_MM, end / UNITS_PER_MM
        if float(np.hypot(*(b - a))) <= self.settings.hidden_stitch_mm:
            return Run(self, a, b, 0, 0, 0)
        (i, off_a), (j, off_b) = self._nearest(a), self._nearest(b)
        if max(off_a, off_b) > self.settings.off_line_mm:
            return None
        length = off_a + abs(self._way_round(i, j)) + off_b
        holes = max(0, ceil(length / self.settings.travel_stitch_mm - 1e-6) - 1)
        return Run(self, a, b, i, j, holes)

    def _way_round(self, i: int, j: int) -> float:
        """Way from point i to j, negative against the line; of a closed line the shorter one."""
        direct = float(self.along_mm[j] - self.along_mm[i])
        if not self.closed:
            return direct
        total = float(self.along_mm[-1])
        return direct if abs(direct) <= total / 2 else direct - float(np.copysign(total, direct))

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

    def _nearest(self, point_mm: FloatArray) -> tuple[int, float]:
        square = ((self.xy_mm - point_mm) ** 2).sum(axis=1)
        at = int(square.argmin())
        return at, float(np.sqrt(square[at]))


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """Stitches along a covered line between two spots, laid only when asked for."""

    line: CoveredLine
    begin_mm: FloatArray
    end_mm: FloatArray
    first: int
    last: int
    holes: int
    """Needle points between the two spots; 0 where one hidden stitch reaches."""

    def points(self) -> IntArray:
        """(holes, 2) needle points between the two spots, both left out, 0.1 mm."""
        if not self.holes:
            return np.zeros((0, 2), np.int32)
        path = np.vstack([self.begin_mm, self.line.stretch(self.first, self.last), self.end_mm])
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

"""Which objects show where a border should cover them: three rules on pairs of two colours.

All rules say "`before` belongs under `after`", whichever of the two is sewn first: the findings
name the pairs sewn the wrong way round, the sequencer keeps the others as they are.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from restitch.geometry import KEPT, Ladder, ladder_of
from restitch.geometry.small import dot
from restitch.model import BoolArray, FloatArray, Kind, PlannedObject, Role

if TYPE_CHECKING:
    from shapely import Geometry


class LayeringRules(NamedTuple):
    """Evidence that one object belongs under another. All figures are our choice, measured on
    invented designs with known order: no false pair in any sound one."""

    widest_mm: float = 8.0
    """Columns up to this width have ends to hide, and borders to hide them."""
    border_from_mm: float = 0.8
    """A border is at least this wide ..."""
    border_widths: float = 4.0
    """... longer than this many of its widths ..."""
    border_over: float = 1.5
    """... and longer than this many times the column that ends at it."""
    least_overlap_mm2: float = 0.1
    most_overlap: float = 0.6
    """Share of the column; one that lies inside the border altogether does not end at it."""
    beyond_mm: float = 0.6
    """The column ends inside the border or at most this far beyond it."""
    angle_deg: float = 25.0
    """It meets the border at more than this angle."""
    sisters: int = 3
    """So many columns of one colour found at a border make a further one there likely ..."""
    sister_within_mm: float = 2.5
    """... whose end is this near, whatever its angle."""
    outline_share: float = 0.7
    """An outline holds more than this share of the edge of what it outlines ..."""
    outline_grown_mm: float = 0.3
    """... when it is grown by this ..."""
    outline_overlap: float = 0.8
    """... and less than this share of its area: a detail that lies on a column whole is none."""


class Buried(NamedTuple):
    """A pair: the edge or end of `before` is made to lie under `after`."""

    before: int
    """Id of the object that belongs underneath."""
    after: int
    """Id of the border that belongs on top."""
    rule: str
    """``ends``, ``sister`` or ``outline``."""


def buried_pairs(
    plan: Sequence[PlannedObject],
    outlines: Mapping[int, Geometry],
    rules: LayeringRules | None = None,
) -> tuple[Buried, ...]:
    """Return every pair that fits a rule, in the order of the plan.

    ``outlines``: area of each object by id, millimetres in file axes; objects without one, and
    open ones, are left out.
    """
    judge = _Judge(plan, outlines, rules or LayeringRules())
    found = [*judge.ends(), *judge.outlines_late()]
    found += judge.sisters(found)
    return tuple(dict.fromkeys(found))


class _Judge:
    """Columns, borders and fills of one plan, and the pairs of them that touch."""

    def __init__(
        self,
        plan: Sequence[PlannedObject],
        outlines: Mapping[int, Geometry],
        rules: LayeringRules,
    ) -> None:
        import shapely

        self.rules = rules
        self.objects = [
            o for o in plan if not o.open and o.id in outlines and not outlines[o.id].is_empty
        ]
        self.area = [outlines[o.id] for o in self.objects]
        self.rungs: dict[int, Ladder] = {}
        satins = [i for i, o in enumerate(self.objects) if o.kind is Kind.SATIN]
        for i in satins:
            tops = [p for p in self.objects[i].pieces if p.role is Role.TOP and p.layer == 0]
            longest = max(tops, key=lambda p: len(p.xy), default=None)
            if longest is not None and len(longest.xy) > 3:
                rungs = ladder_of(longest)
                if rungs.width_mm <= rules.widest_mm:
                    self.rungs[i] = rungs
        self.borders = {i for i, rungs in self.rungs.items() if self._is_border(rungs)}
        near = shapely.STRtree(self.area).query(self._areas(self.rungs), predicate="intersects")
        wide = list(self.rungs)
        self.touching = sorted(
            (other, wide[satin])
            for satin, other in near.T.tolist()
            if self.objects[other].thread != self.objects[wide[satin]].thread
        )

    def _areas(self, places: Iterable[int]) -> NDArray[np.object_]:
        return np.array([self.area[i] for i in places], dtype=object)

    def _is_border(self, rungs: Ladder) -> bool:
        rules = self.rules
        return (
            rungs.is_ring
            and rungs.width_mm >= rules.border_from_mm
            and rungs.length_mm > rules.border_widths * rungs.width_mm
        )

    def _pair(self, under: int, over: int, rule: str) -> Buried:
        return Buried(self.objects[under].id, self.objects[over].id, rule)

    def ends(self) -> list[Buried]:
        """Columns with an end in a closed border."""
        pairs = self._columns_at([(a, b) for a, b in self.touching if b in self.borders])
        near = self._distances(pairs) <= self.rules.beyond_mm
        return [
            self._pair(a, b, "ends")
            for (a, b), ends in zip(pairs, near, strict=True)
            if self._meets(a, b, ends)
        ]

    def sisters(self, found: Sequence[Buried]) -> list[Buried]:
        """Further columns of a colour of which several end at the same border."""
        ids = {o.id: o for o in self.objects}
        known = {(p.before, p.after) for p in found}
        count = Counter((ids[p.before].thread, p.after) for p in found if p.rule == "ends")
        likely = [
            (a, b)
            for a, b in self.touching
            if b in self.borders
            and (self.objects[a].id, self.objects[b].id) not in known
            and count[self.objects[a].thread, self.objects[b].id] >= self.rules.sisters
        ]
        pairs = self._columns_at(likely)
        near = self._distances(pairs).min(axis=1, initial=np.inf) <= self.rules.sister_within_mm
        return [self._pair(a, b, "sister") for (a, b), n in zip(pairs, near, strict=True) if n]

    def outlines_late(self) -> list[Buried]:
        """Fills whose edge lies in a column."""
        return [
            self._pair(a, b, "outline")
            for a, b in self.touching
            if self.objects[a].kind is Kind.FILL and self._outlines(self.area[b], self.area[a])
        ]

    def _outlines(self, column: Geometry, fill: Geometry) -> bool:
        """Whether the edge of a fill lies in a column."""
        import shapely

        rules = self.rules
        edge, grown_mm = fill.boundary, rules.outline_grown_mm
        least_mm = rules.outline_share * edge.length
        left, low, right, high = column.bounds
        box = (left - grown_mm, low - grown_mm, right + grown_mm, high + grown_mm)
        if shapely.clip_by_rect(edge, *box).length <= least_mm:
            return False  # most columns on a fill: quickly told
        if fill.intersection(column).area >= rules.outline_overlap * max(fill.area, 1e-9):
            return False
        grown = column.buffer(grown_mm, quad_segs=2)
        return bool(edge.intersection(grown).length > least_mm)

    def _columns_at(self, pairs: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
        """The pairs in which a is an open column, shorter than border b, that overlaps it in
        part."""
        import shapely

        rules = self.rules
        pairs = [
            (a, b)
            for a, b in pairs
            if a in self.rungs
            and not self.rungs[a].is_ring
            and self.rungs[b].length_mm > rules.border_over * self.rungs[a].length_mm
        ]
        columns, borders = (self._areas(pair[k] for pair in pairs) for k in (0, 1))
        shared = shapely.area(shapely.intersection(columns, borders))
        most = rules.most_overlap * np.maximum(shapely.area(columns), 1e-9)
        inside = (shared >= rules.least_overlap_mm2) & (shared <= most)
        return [pair for pair, fits in zip(pairs, inside, strict=True) if fits]

    def _distances(self, pairs: Sequence[tuple[int, int]]) -> FloatArray:
        """(k, 2) how far both ends of the columns lie from the borders, 0 inside."""
        import shapely

        points = [[end for end, _ in _ends(self.rungs[a])] for a, _ in pairs]
        ends = shapely.points(np.array(points, np.float64).reshape(-1, 2, 2))
        far: FloatArray = shapely.distance(self._areas(b for _, b in pairs)[:, None], ends)
        return far

    def _meets(self, a: int, b: int, ends: BoolArray) -> bool:
        """Whether one of those ends of column a meets border b at an angle."""
        least = np.sin(np.radians(self.rules.angle_deg))
        for (end, inward), near in zip(_ends(self.rungs[a]), ends, strict=True):
            if near:
                along = _heading_at(self.rungs[b].smooth_centre_mm, end)
                if abs(float(inward[0] * along[1] - inward[1] * along[0])) > least:
                    return True
        return False


@lru_cache(maxsize=KEPT)
def _ends(rungs: Ladder) -> list[tuple[FloatArray, FloatArray]]:
    """Both ends of a column's centre line, each with the unit direction there."""
    line = rungs.smooth_centre_mm
    return [(side[0], _unit(side[min(len(side) - 1, 6)] - side[0])) for side in (line, line[::-1])]


def _heading_at(line_mm: FloatArray, point_mm: FloatArray) -> FloatArray:
    """(2,) unit direction of a closed line where it comes nearest to a point."""
    way = line_mm - point_mm
    nearest = int(np.argmin(dot(way, way)))
    count = len(line_mm)
    return _unit(line_mm[(nearest + 3) % count] - line_mm[nearest - 3])


def _unit(vector: FloatArray) -> FloatArray:
    unit: FloatArray = vector / max(float(np.hypot(*vector)), 1e-9)
    return unit

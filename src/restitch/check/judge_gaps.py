"""Judge: where two parts meet, does their overlap outlast the pull of the fabric?

Cloth is drawn in along the stitch, so a stroke that ends at a neighbour moves away from it, and a
neighbour whose strokes end there moves away as well (Campbell, pull distortion). What they overlap
must make up for both, or cloth shows between them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from restitch.check.judge_spacing import top_ladders
from restitch.fabrics.model import Profile
from restitch.geometry.small import distinct, median
from restitch.model import UNITS_PER_MM, BoolArray, FloatArray, IntArray, Kind, PlannedObject
from restitch.stitch.widen import outward

if TYPE_CHECKING:
    from shapely import Geometry

MEETING_MM = 0.2
"""Parts nearer than this meet: their threads touch, one thread being as wide (MXd). A wider space
is there to be seen."""
SHOWING_MM = 0.2
"""Less opens up than a thread is wide (MXd): its bulk closes it."""
LEAST_SEAM_MM = 2.0
"""Shorter seams are corners. Our choice."""
SAME_SIDE = (2, 4)
"""How far off the next ends of the same side are: ends alternate between the two sides."""
LONGEST_PITCH_MM = 2.0
"""A stroke end stands for this much of an edge at most. Our choice."""
HALVINGS = 6
"""Times the range is halved to find an edge: to a fifth of the file's step."""
END_WITHIN_MM = 0.6
"""A neighbour's strokes end at the seam where one of their ends is this near. Our choice: more
than a two-line pitch."""


class Seam(NamedTuple):
    """A stretch along which two parts will come apart."""

    objects: tuple[int, int]
    """Id of the part whose strokes end at the seam, and of its neighbour."""
    xy: IntArray
    """(n, 2) stroke ends along the seam, 0.1 mm."""
    length_mm: float
    overlap_mm: float
    """What the two overlap now, at the middle of the stretch; below 0 they are apart."""
    wanted_mm: float
    """What the fabric draws them apart."""

    @property
    def opens_mm(self) -> float:
        """Width of the gap to expect."""
        return self.wanted_mm - self.overlap_mm


def seams_that_open(
    plan: Sequence[PlannedObject], outlines: Mapping[int, Geometry], profile: Profile
) -> tuple[Seam, ...]:
    """Return every seam that the fabric will open wider than a thread.

    ``outlines``: area of each object by id, millimetres in file axes. A seam that a third object
    lies over or under shows no cloth and is left out; so are open objects and runs.
    """
    ends = _Ends.of(plan, profile)
    if not len(ends.at_mm):
        return ()
    return tuple(_Seams(ends, plan, outlines).found())


class _Ends(NamedTuple):
    """Stroke ends of all objects: rows of equal length."""

    place: NDArray[np.intp]
    """Place of the object in the plan."""
    at_mm: FloatArray
    out: FloatArray
    """(n, 2) unit direction away from the object, along the stroke."""
    pull_mm: FloatArray
    """How far the fabric draws the end in."""
    pitch_mm: FloatArray
    """Length of edge the end stands for."""

    @classmethod
    def of(cls, plan: Sequence[PlannedObject], profile: Profile) -> _Ends:
        rows: list[FloatArray] = [np.zeros((0, 7))]
        for place, obj in enumerate(plan):
            if obj.kind is Kind.RUN or obj.open:
                continue
            for rungs in top_ladders(obj):
                pull = profile.compensation_mm(rungs.width_mm) / 2.0
                # the first and the last end of a ladder are half a stroke: no edge of their own
                nodes, way = rungs.nodes_mm[1:-1], outward(rungs)[1:-1]
                step = _pitch_mm(rungs.nodes_mm)[1:-1]
                rest = np.column_stack([np.full(len(nodes), place), np.full(len(nodes), pull)])
                rows.append(np.column_stack([nodes, way, rest, step]))
        table = np.concatenate(rows)
        return cls(table[:, 4].astype(np.intp), *_columns(table))


def _pitch_mm(nodes_mm: FloatArray) -> FloatArray:
    """(n,) half the way from the end before to the end after on the same side, n >= 3."""
    step = np.hypot(*(nodes_mm[2:] - nodes_mm[:-2]).T)
    at, last = np.arange(len(nodes_mm)), len(step) - 1
    pitch: FloatArray = (step[np.clip(at - 2, 0, last)] + step[np.clip(at, 0, last)]) / 2.0
    return np.minimum(pitch, LONGEST_PITCH_MM)


def _columns(table: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    return table[:, :2], table[:, 2:4], table[:, 5], table[:, 6]


class _Seams:
    """The stroke ends of a plan held against the areas of its objects."""

    def __init__(
        self, ends: _Ends, plan: Sequence[PlannedObject], outlines: Mapping[int, Geometry]
    ) -> None:
        import shapely

        self.ends = ends
        self.plan = plan
        self.area = np.array([outlines.get(o.id, shapely.Polygon()) for o in plan], dtype=object)
        self.solid = np.array([o.kind is not Kind.RUN and not o.open for o in plan])

    def found(self) -> list[Seam]:
        """The seams, one for each two objects, in the order of the plan."""
        end, other = self._shallow(*self._neighbours())
        wanted = self.ends.pull_mm[end] + self._pull_of_neighbour(end, other)
        overlap = self._overlap_mm(end, other, wanted)
        opening = self._in_rows(end, other, wanted - overlap > SHOWING_MM)
        end, other, wanted, overlap = (
            end[opening],
            other[opening],
            wanted[opening],
            overlap[opening],
        )
        pair = np.stack([self.ends.place[end], other], axis=1)
        seams: dict[frozenset[int], Seam] = {}
        for a, b in sorted(set(map(tuple, pair.tolist()))):
            mine = (pair == (a, b)).all(axis=1)
            length = float(self.ends.pitch_mm[end[mine]].sum())
            if length < LEAST_SEAM_MM:
                continue
            xy = np.rint(self.ends.at_mm[end[mine]] * UNITS_PER_MM).astype(np.int32)
            middle = (median(overlap[mine]), median(wanted[mine]))
            seam = Seam((self.plan[a].id, self.plan[b].id), xy, length, *middle)
            # both sides tell of the same seam: the longer tale counts
            both = frozenset((a, b))
            seams[both] = max(seams.get(both, seam), seam, key=lambda s: s.length_mm)
        return list(seams.values())

    def _neighbours(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Stroke ends with cloth on their far side but for one neighbour, and its place."""
        own = self.ends.place
        end, other = self._holders(self.ends.at_mm + MEETING_MM * self.ends.out)
        alone = np.bincount(end, minlength=len(own))[end] == 1
        one = alone & (other != own[end]) & self.solid[other]
        end, other = end[one], other[one]
        # a third object at the edge: no cloth to be seen
        drawn_in = self.ends.at_mm[end] - self.ends.pull_mm[end, None] * self.ends.out[end]
        at, third = self._holders(drawn_in)
        free = np.ones(len(end), bool)
        free[at[(third != own[end[at]]) & (third != other[at])]] = False
        return end[free], other[free]

    def _in_rows(
        self, end: NDArray[np.intp], other: NDArray[np.intp], opening: BoolArray
    ) -> BoolArray:
        """Those of the openings with another two among the next on the same side: an end that
        sticks out by the file's step is no seam."""
        partner = np.full(len(self.ends.place) + 2 * max(SAME_SIDE), -1)
        partner[end[opening] + max(SAME_SIDE)] = other[opening]
        at = end + max(SAME_SIDE)
        steps = np.array([*SAME_SIDE, *(-s for s in SAME_SIDE)])
        near = np.count_nonzero(partner[at[:, None] + steps] == other[:, None], axis=1)
        found: BoolArray = opening & (near >= 2)
        return found

    def _holders(self, points_mm: FloatArray) -> NDArray[np.intp]:
        """(2, n) point and place of every object that covers it."""
        import shapely

        tree = shapely.STRtree(shapely.points(points_mm))
        place, point = tree.query(self.area, predicate="intersects")
        order = np.lexsort((place, point))
        return np.stack([point[order], place[order]])

    def _pull_of_neighbour(self, end: NDArray[np.intp], other: NDArray[np.intp]) -> FloatArray:
        """How far the neighbour's own stroke ends are drawn away at each end; 0 where its strokes
        run along the seam: there the cloth is pushed, not pulled."""
        pull = np.zeros(len(end))
        for place in distinct(other):
            mine = np.flatnonzero(other == place)
            # ends stand in the order of the plan
            theirs = np.arange(*np.searchsorted(self.ends.place, (place, place + 1)))
            if not len(theirs):
                continue
            way = self.ends.at_mm[end[mine], None] - self.ends.at_mm[None, theirs]
            distance = np.hypot(way[..., 0], way[..., 1])
            nearest = theirs[np.argmin(distance, axis=1)]
            against = -(self.ends.out[nearest] * self.ends.out[end[mine]]).sum(axis=1)
            near = distance.min(axis=1) <= END_WITHIN_MM + self.ends.pull_mm[end[mine]]
            pull[mine] = np.where(near, np.maximum(against, 0.0), 0.0) * self.ends.pull_mm[nearest]
        return pull

    def _shallow(
        self, end: NDArray[np.intp], other: NDArray[np.intp]
    ) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Those whose neighbour reaches in less than both could be drawn apart at the most."""
        most = self.ends.pull_mm[end] + self.ends.pull_mm.max(initial=0.0)
        shallow = ~self._reaches(end, other, most)
        return end[shallow], other[shallow]

    def _reaches(
        self, end: NDArray[np.intp], other: NDArray[np.intp], depth_mm: FloatArray
    ) -> BoolArray:
        """Whether the neighbour covers the place that deep inside from the stroke end."""
        import shapely

        areas = self.area[other]
        shapely.prepare(areas)
        place = self.ends.at_mm[end] - depth_mm[:, None] * self.ends.out[end]
        covered: BoolArray = shapely.intersects_xy(areas, place[:, 0], place[:, 1])
        return covered

    def _overlap_mm(
        self, end: NDArray[np.intp], other: NDArray[np.intp], most_mm: FloatArray
    ) -> FloatArray:
        """How far each neighbour reaches in from the stroke end, found up to a most."""
        low, high = np.full(len(end), -MEETING_MM), most_mm.copy()
        enough = self._reaches(end, other, high)
        for _ in range(HALVINGS):
            middle = (low + high) / 2.0
            covered = self._reaches(end, other, middle)
            low, high = np.where(covered, middle, low), np.where(covered, high, middle)
        return np.where(enough, most_mm, low)

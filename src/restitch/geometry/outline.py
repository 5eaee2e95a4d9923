"""Outlines of objects as shapely polygons, traced from needle points."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from restitch.geometry.ladder import KEPT, Ladder, ladder_of_points
from restitch.model import UNITS_PER_MM, FloatArray, IntArray, Kind, Piece, PlannedObject, Role

if TYPE_CHECKING:
    from shapely import Geometry

THREAD_MM = 0.2
"""40 weight thread as laid (MXd)."""
CLOSE_MM = 0.45
"""Fill sections nearer than twice this are one area: rows lie 0.2 to 0.25 mm apart, sections
meet row to row. Our choice."""
CHUNK = 16
"""Strokes traced as one polygon where the whole trace crosses itself. Our choice."""
TIDY_MM = 0.03
"""Outlines are simplified by this much, a third of the file's step."""


def outline(obj: PlannedObject) -> Geometry:
    """Return the area an object's visible stitching covers, in millimetres (file axes).

    A valid polygon or multipolygon: rails traced for satins, row ends traced for fills, the
    line as wide as its thread for runs; empty when the object has no visible stitching.
    """
    return outline_of(tuple(p for p in obj.pieces if p.role is Role.TOP and p.layer == 0), obj.kind)


@lru_cache(maxsize=KEPT)
def outline_of(pieces: tuple[Piece, ...], kind: Kind) -> Geometry:
    """As `outline`, for pieces of visible stitching; kept, because every room asks for it. The
    same whichever way the pieces are sewn."""
    lines = [np.asarray(p.xy, np.int32) for p in pieces]
    there = tuple(line.tobytes() for line in lines)
    back = tuple(line[::-1].tobytes() for line in reversed(lines))
    return _outline_of_points(min(there, back), kind)


@lru_cache(maxsize=KEPT)
def _outline_of_points(pieces: tuple[bytes, ...], kind: Kind) -> Geometry:
    """Kept by the points too: most pieces of a result read back are those that were sewn."""
    import shapely

    lines = (np.frombuffer(points, np.int32).reshape(-1, 2) for points in pieces)
    shapes = [_shape(xy, kind) for xy in lines if len(xy) > 1]
    if not shapes:
        return shapely.Polygon()
    whole = shapes[0] if len(shapes) == 1 else shapely.union_all(shapes)
    if kind is Kind.FILL:
        whole = whole.buffer(CLOSE_MM, quad_segs=2).buffer(-CLOSE_MM, quad_segs=2)
    tidy = whole.simplify(TIDY_MM)
    return tidy if tidy.is_valid else tidy.buffer(0)


def _shape(xy: IntArray, kind: Kind) -> Geometry:
    if kind is not Kind.RUN:
        rungs = ladder_of_points(xy.tobytes())
        if rungs.is_regular:
            return trace(rungs)
    return _thread(xy / UNITS_PER_MM, kind)


def _thread(xy_mm: FloatArray, kind: Kind) -> Geometry:
    """The line as wide as its thread (wider for fills that are no rows, such as spirals)."""
    import shapely

    line = shapely.LineString(xy_mm) if (xy_mm != xy_mm[0]).any() else None
    if line is None:
        return shapely.Point(xy_mm[0]).buffer(THREAD_MM / 2)
    # a bean run passes every stitch three times: drawing it once is enough
    line = line.simplify(TIDY_MM) if len(xy_mm) < 400 else shapely.unary_union(line)
    return line.buffer(THREAD_MM / 2 if kind is not Kind.FILL else CLOSE_MM, quad_segs=2)


def trace(rungs: Ladder) -> Geometry:
    """Return the area between the rails of a ladder, from needle hole to needle hole."""
    import shapely

    left, right = rungs.rails_mm
    if rungs.is_ring:
        # close the seam: the last node meets the first
        left, right = np.vstack([left, left[:1]]), np.vstack([right, right[:1]])
    whole = shapely.Polygon(np.vstack([left, right[::-1]]))
    if whole.is_valid and not rungs.is_ring:
        return whole
    return shapely.union_all(_chunks(left, right))


def _chunks(left: FloatArray, right: FloatArray) -> list[Geometry]:
    """Valid polygons of a few strokes each: a long column may cross itself, a short one cannot."""
    import shapely

    count = len(left)
    found = []
    for start in range(0, count - 1, CHUNK):
        stop = min(start + CHUNK + 1, count)
        part = shapely.Polygon(np.vstack([left[start:stop], right[start:stop][::-1]]))
        found.append(part if part.is_valid else shapely.make_valid(part).buffer(TIDY_MM))
    return found

"""Underlay of fills: an edge run inside the outline, then open rows across the cover."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from restitch.fabrics.model import UnderlayRule
from restitch.geometry.small import lengths_mm
from restitch.model import FloatArray, IntArray, Role
from restitch.stitch.inside import inside_way
from restitch.stitch.lines import corner_stitches, resampled, to_units

if TYPE_CHECKING:
    from shapely import Geometry, Polygon

LEAST_RING_MM = 6.0
"""Shorter rings are not worth an edge run. Our choice."""
LEAST_ROW_MM = 1.5
"""Shorter crossing rows are left out. Our choice."""
ROW_MARGIN_MM = 0.3
"""Crossing rows stop this far inside the edge run."""

STEP_SLACK_MM = 0.3
"""A step between two rows may pass this far outside the edge run; the inset is twice that."""


class Laid(NamedTuple):
    """Newly laid stitching of one role."""

    role: Role
    xy: IntArray
    """(n, 2) needle points, 0.1 mm."""


def fill_underlay(
    area: Geometry, axis: FloatArray, rule: UnderlayRule, enter_mm: FloatArray, leave_mm: FloatArray
) -> tuple[Laid, ...]:
    """Return the underlay that the rule asks for under a fill, in sewing order.

    ``area`` is the fill's outline in mm, ``axis`` the (2,) direction of its rows. The edge run
    begins near ``enter_mm``; the last stretch is travel that ends one stitch before ``leave_mm``,
    where the cover begins. All of it stays inside the area.
    """
    inner = _parts(area.buffer(-rule.inset_mm, quad_segs=2))
    here = np.asarray(enter_mm, np.float64)
    lines: list[tuple[Role, FloatArray]] = []
    for part in sorted(inner, key=lambda p: p.distance(_point(here))):
        for role, line in _part(part, axis, rule, here):
            if lines:
                way = inside_way(area, lines[-1][1][-1], line[0])
                if way is None:
                    continue
                lines += _travel(way, rule)
            lines.append((role, line))
            here = line[-1]
    if lines:
        way = inside_way(area, here, leave_mm)
        if way is not None:
            lines += _travel(way, rule)
    return tuple(Laid(role, xy) for role, line in lines if len(xy := to_units(line)))


def _travel(way: FloatArray, rule: UnderlayRule) -> list[tuple[Role, FloatArray]]:
    """Stitches along a way without its two ends."""
    inner = corner_stitches(way, rule.stitch_mm)[1:-1]
    return [(Role.TRAVEL, inner)] if len(inner) else []


def _parts(shape: Geometry) -> list[Polygon]:
    return [p for p in getattr(shape, "geoms", [shape]) if not p.is_empty]


def _point(xy_mm: FloatArray) -> Geometry:
    import shapely

    return shapely.Point(xy_mm)


def _part(
    part: Polygon, axis: FloatArray, rule: UnderlayRule, here: FloatArray
) -> Iterator[tuple[Role, FloatArray]]:
    """Edge run and crossing rows of one connected area."""
    for ring in (part.exterior, *part.interiors):
        if ring.length >= LEAST_RING_MM:
            loop = _begun_near(np.asarray(ring.coords), here)
            yield Role.UNDERLAY, corner_stitches(loop, rule.stitch_mm)
            here = loop[-1]
    if rule.fill_crossing:
        for rows in _ordered(_chains(part, axis, rule), here):
            yield Role.UNDERLAY, _sewn(rows, rule)


def _begun_near(ring: FloatArray, here: FloatArray) -> FloatArray:
    """A closed ring begun (and ended) at its point nearest to a place."""
    ring = ring[:-1]
    at = int(np.argmin(((ring - here) ** 2).sum(axis=1)))
    return np.vstack([ring[at:], ring[: at + 1]])


def _chains(part: Polygon, axis: FloatArray, rule: UnderlayRule) -> list[list[FloatArray]]:
    """Crossing rows as chains: rows of one chain follow one another without a gap between."""
    import shapely

    room = part.buffer(STEP_SLACK_MM, quad_segs=2)
    shapely.prepare(room)
    chains: list[list[FloatArray]] = []
    open_chains: list[int] = []
    for row in _rows(part, axis, rule):
        follows: dict[int, list[int]] = {}
        for k, segment in enumerate(row):
            for c in open_chains:
                if _overlap(chains[c][-1], segment) and _joined(chains[c][-1], segment, room):
                    follows.setdefault(c, []).append(k)
        taken = [k for ks in follows.values() for k in ks]
        still = []
        for k, segment in enumerate(row):
            own = [c for c, ks in follows.items() if k in ks]
            if len(own) == 1 and len(follows[own[0]]) == 1 and taken.count(k) == 1:
                chains[own[0]].append(segment)
                still.append(own[0])
            else:
                chains.append([segment])
                still.append(len(chains) - 1)
        open_chains = still
    return chains


def _rows(part: Polygon, axis: FloatArray, rule: UnderlayRule) -> Iterator[list[FloatArray]]:
    """Segments of each crossing row, row by row, each from low to high along the row."""
    import shapely

    turn = np.radians(rule.crossing_angle_deg)
    along = np.array(
        [
            axis[0] * np.cos(turn) - axis[1] * np.sin(turn),
            axis[0] * np.sin(turn) + axis[1] * np.cos(turn),
        ]
    )
    across = np.array([-along[1], along[0]])
    shape = part.buffer(-ROW_MARGIN_MM, quad_segs=2)
    if shape.is_empty:
        return
    frame = shapely.get_coordinates(shape) @ np.stack([along, across], axis=1)
    (low, bottom), (high, top) = frame.min(axis=0), frame.max(axis=0)
    count = int((top - bottom) // rule.crossing_spacing_mm)
    levels = (bottom + top) / 2.0 + rule.crossing_spacing_mm * (np.arange(count + 1) - count / 2.0)
    ends = np.stack(
        [level * across + s * along for level in levels for s in (low - 1.0, high + 1.0)]
    ).reshape(-1, 2, 2)
    for cut in shapely.intersection(shapely.linestrings(ends), shape):
        pieces = [np.asarray(g.coords) for g in getattr(cut, "geoms", [cut]) if g.length > 0]
        row = [p[np.argsort(p @ along)] for p in pieces]
        yield [p for p in row if lengths_mm(p).sum() >= LEAST_ROW_MM]


def _overlap(a: FloatArray, b: FloatArray) -> bool:
    """Whether two neighbouring rows face each other."""
    way = (b[-1] - b[0]) / max(float(np.hypot(*(b[-1] - b[0]))), 1e-9)
    span = [sorted((float(line[0] @ way), float(line[-1] @ way))) for line in (a, b)]
    shared = min(span[0][1], span[1][1]) - max(span[0][0], span[1][0])
    return shared > 0.0


def _joined(a: FloatArray, b: FloatArray, room: Geometry) -> bool:
    """Whether the steps from row to row stay inside the room, at either end."""
    import shapely

    steps = shapely.linestrings(np.stack([np.stack([a[i], b[i]]) for i in (0, -1)]))
    return bool(shapely.covers(room, steps).all())


def _ordered(chains: list[list[FloatArray]], here: FloatArray) -> Iterator[list[FloatArray]]:
    """Chains from the nearest end on, each turned so that it begins there."""
    left = list(chains)
    while left:
        ways = [
            (float(np.hypot(*(rows[i][j] - here))), k, i, j)
            for k, rows in enumerate(left)
            for i in (0, -1)
            for j in (0, -1)
        ]
        _, k, i, j = min(ways)
        rows = left.pop(k)
        rows = rows if i == 0 else rows[::-1]
        forward = j == 0
        sewn = [r if (n % 2 == 0) == forward else r[::-1] for n, r in enumerate(rows)]
        here = sewn[-1][-1]
        yield sewn


def _sewn(rows: list[FloatArray], rule: UnderlayRule) -> FloatArray:
    """Rows one after another; where the edge is slanted the step between two is stitched too."""
    sewn = [resampled(rows[0], rule.fill_stitch_mm)]
    for row in rows[1:]:
        step = np.stack([sewn[-1][-1], row[0]])
        sewn.append(resampled(step, rule.fill_stitch_mm)[1:-1])
        sewn.append(resampled(row, rule.fill_stitch_mm))
    return np.concatenate(sewn)

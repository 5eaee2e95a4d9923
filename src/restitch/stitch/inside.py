"""Ways that stay inside an area: travel that its cover hides."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from restitch.model import FloatArray

if TYPE_CHECKING:
    from shapely import Geometry

SLACK_MM = 0.15
"""A way may leave the area by this much: less than the cover's own edge."""
COARSE_MM = 0.25
"""The area's corners are taken to this tolerance."""
MOST_CORNERS = 160
"""Areas with more corners are coarsened until they have fewer: the search grows as the square."""


def inside_way(area: Geometry, start_mm: FloatArray, end_mm: FloatArray) -> FloatArray | None:
    """Return (n, 2) points of the shortest way inside an area, ends included, or None.

    Straight where possible, else from corner to corner. None where the area does not join the
    two ends.
    """
    import shapely

    start, end = np.asarray(start_mm, np.float64), np.asarray(end_mm, np.float64)
    wide = area.buffer(SLACK_MM, quad_segs=2)
    shapely.prepare(wide)
    if shapely.covers(wide, shapely.LineString([start, end])):
        return np.stack([start, end])
    corners = np.vstack([start, end, _corners(area)])
    first, second = np.triu_indices(len(corners), 1)
    lines = shapely.linestrings(np.stack([corners[first], corners[second]], axis=1))
    free = shapely.covers(wide, lines)
    return _shortest(corners, first[free], second[free])


def _corners(area: Geometry) -> FloatArray:
    import shapely

    tolerance = COARSE_MM
    corners = shapely.get_coordinates(area.simplify(tolerance))
    while len(corners) > MOST_CORNERS:
        tolerance *= 1.6
        corners = shapely.get_coordinates(area.simplify(tolerance))
    return np.unique(corners, axis=0) if len(corners) else np.zeros((0, 2))


def _shortest(corners: FloatArray, first: np.ndarray, second: np.ndarray) -> FloatArray | None:
    """The shortest chain of free lines from corner 0 to corner 1."""
    import networkx as nx

    graph = nx.Graph()
    graph.add_nodes_from((0, 1))
    length = np.hypot(*(corners[first] - corners[second]).T)
    edges = zip(first.tolist(), second.tolist(), length.tolist(), strict=True)
    graph.add_weighted_edges_from(edges)
    try:
        path = nx.dijkstra_path(graph, 0, 1)
    except nx.NetworkXNoPath:
        return None
    way: FloatArray = corners[path]
    return way

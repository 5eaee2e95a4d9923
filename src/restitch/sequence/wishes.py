"""Soft wishes about the sewing order: caps from the centre and the bottom, one area at a time.

Caps are sewn centre out and bottom up, the least stable part last (trade rules 10.1: IMP16a, IM18,
PP21, GP1), letters from the middle outwards by the same rule; on unstable cloth one area is
finished before the next (10.3: PW19c, ST14).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from restitch.fabrics.model import OrderRules
from restitch.model import FloatArray
from restitch.sequence.solver import Wish

if TYPE_CHECKING:
    from shapely import Geometry

AREA_GAP_MM = 3.0
"""Objects no farther apart than this lie in one area (our choice)."""


def wish_of(rules: OrderRules, outlines: Sequence[Geometry]) -> Wish | None:
    """Return the wishes of a profile for objects by their outlines (mm, y down), or None.

    ``centre_out`` and ``bottom_up`` are prices of each millimetre that the needle goes back,
    ``area_by_area`` of each change from one area to another; all as mm of travel.
    """
    if not (rules.centre_out or rules.bottom_up or rules.area_by_area):
        return None
    import shapely

    spots = shapely.centroid(np.array(outlines, dtype=object))
    placed = ~shapely.is_empty(spots)
    if not placed.any():
        return None
    found = shapely.get_coordinates(spots)
    middle = (found.min(axis=0) + found.max(axis=0)) / 2.0
    # an object without visible stitching has no place: no wish concerns it
    centres = np.tile(middle, (len(spots), 1))
    centres[placed] = found
    rank = rules.centre_out * np.hypot(*(centres - middle).T) + rules.bottom_up * (
        centres[:, 1].max() - centres[:, 1]
    )
    area = areas_of(outlines) if rules.area_by_area else None
    return Wish(rank=rank, back=1.0, area=area, apart=rules.area_by_area)


def areas_of(outlines: Sequence[Geometry]) -> NDArray[np.int64]:
    """(n,) number of the area each object lies in: objects that nearly touch share one."""
    import networkx as nx
    import shapely

    grown = shapely.buffer(np.array(outlines, dtype=object), AREA_GAP_MM / 2, quad_segs=2)
    near = shapely.STRtree(grown).query(grown, predicate="intersects")
    graph = nx.Graph()
    graph.add_nodes_from(range(len(outlines)))
    graph.add_edges_from(near.T.tolist())
    label = np.zeros(len(outlines), np.int64)
    for number, members in enumerate(sorted(nx.connected_components(graph), key=min)):
        label[list(members)] = number
    return label


def wish_price(wish: Wish | None, order: Sequence[int]) -> float:
    """What an order costs by the wishes alone, as mm of travel."""
    if wish is None:
        return 0.0
    at = np.array(order)
    a, b = at[:-1], at[1:]
    back: FloatArray = np.zeros(1)
    if wish.rank is not None:
        back = wish.back * np.maximum(0.0, wish.rank[a] - wish.rank[b])
    apart = 0 if wish.area is None else int((wish.area[a] != wish.area[b]).sum())
    return float(back.sum()) + wish.apart * apart

"""The objects of its colour that each object is cheapest to join with."""

from __future__ import annotations

import numpy as np

from restitch.model import FloatArray
from restitch.sequence.solver.nodes import Index, Nodes

CELLS_AT_ONCE = 1_000_000
"""Prices held in memory at a time."""


def nearest(nodes: Nodes, count: int) -> list[list[tuple[int, float]]]:
    """Return for each object its `count` nearest of the same colour with the price of the cheaper
    link between the two, cheapest first."""
    result: list[list[tuple[int, float]]] = [[] for _ in range(len(nodes.instance))]
    colours = np.array(nodes.instance.colour)
    for colour in np.unique(colours):
        members = np.flatnonzero(colours == colour)
        if len(members) > 1:
            price = _between(nodes, members)
            price = np.minimum(price, price.T)
            np.fill_diagonal(price, np.inf)
            kept = min(count, len(members) - 1)
            picked = np.argpartition(price, kept - 1, axis=1)[:, :kept]
            cheap = np.take_along_axis(price, picked, axis=1)
            sort = np.argsort(cheap, axis=1, kind="stable")
            picked = np.take_along_axis(members[picked], sort, axis=1)
            cheap = np.take_along_axis(cheap, sort, axis=1)
            for x, near, row in zip(members.tolist(), picked.tolist(), cheap.tolist(), strict=True):
                result[x] = list(zip(near, row, strict=True))
    return result


def _between(nodes: Nodes, members: Index) -> FloatArray:
    """Cheapest link from each member to each other, over all their options."""
    sizes = np.diff(nodes.first)[members]
    starts = np.concatenate([[0], np.cumsum(sizes)])
    at = np.repeat(nodes.first[members] - starts[:-1], sizes) + np.arange(starts[-1])
    result = np.empty((len(members), len(members)))
    step = max(1, CELLS_AT_ONCE // (len(at) * int(sizes.max())))
    for low in range(0, len(members), step):
        high = min(low + step, len(members))
        rows = at[starts[low] : starts[high]]
        table = nodes.price(rows[:, None], at[None, :])
        table = np.minimum.reduceat(table, starts[:-1], axis=1)
        result[low:high] = np.minimum.reduceat(table, starts[low:high] - starts[low], axis=0)
    return result

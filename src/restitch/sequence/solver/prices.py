"""Link prices as nested Python lists or dictionaries: what a scalar search reads fastest."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

import numpy as np

from restitch.sequence.solver.nodes import LENGTH_TOLERANCE_MM, Nodes

TABLE_NODES = 1400
"""Up to this many nodes the whole table is made (60 MB at the limit); above, prices are worked
out when first asked for."""

NEVER = 1e12
"""Price of what cannot be."""

Row = Sequence[float] | dict[int, float]


def price_rows(nodes: Nodes) -> list[Row]:
    """Return ``rows[a][b]``, the price of the link from node a to node b.

    Two nodes are added: m, the start, and m + 1, the end (free to reach).
    """
    m = nodes.count
    if m <= TABLE_NODES or nodes.instance.link_price is not None:
        table = np.full((m + 2, m + 2), NEVER)
        at = np.arange(m)
        table[:m, :m] = nodes.price(at[:, None], at[None, :])
        table[m, :m] = nodes.into
        table[:, m + 1] = 0.0
        rows: list[Row] = list(table.tolist())
        return rows
    start: Row = [*nodes.into.tolist(), NEVER, 0.0]
    return [*_lazy_rows(nodes), start, [NEVER] * (m + 2)]


def _lazy_rows(nodes: Nodes) -> list[Row]:
    shared = _Shared(nodes)
    return [
        _LazyRow(shared, a, x, y, c)
        for a, ((x, y), c) in enumerate(
            zip(nodes.exit.tolist(), nodes.colour.tolist(), strict=True)
        )
    ]


class _Shared:
    """What all lazy rows read."""

    __slots__ = ("change", "colour", "cost", "limit", "nodes", "travel", "trim", "wished", "x", "y")

    def __init__(self, nodes: Nodes) -> None:
        weights = nodes.instance.weights
        self.nodes = nodes
        self.x, self.y = nodes.entry[:, 0].tolist(), nodes.entry[:, 1].tolist()
        self.colour, self.cost = nodes.colour.tolist(), nodes.cost.tolist()
        self.travel, self.trim, self.change = weights.travel, weights.trim, weights.colour
        self.limit = nodes.instance.trim_over_mm + LENGTH_TOLERANCE_MM
        self.wished = nodes.instance.wish is not None


class _LazyRow(dict[int, float]):
    """Prices from one node, each worked out at its first use."""

    __slots__ = ("a", "colour", "shared", "x", "y")

    def __init__(self, shared: _Shared, a: int, x: float, y: float, colour: int) -> None:
        super().__init__()
        self.shared, self.a, self.x, self.y, self.colour = shared, a, x, y, colour

    def __missing__(self, b: int) -> float:
        s = self.shared
        if b >= len(s.x):  # the end is free, nothing goes back to the start
            price = 0.0 if b > len(s.x) else NEVER
        else:
            dx, dy = self.x - s.x[b], self.y - s.y[b]
            length = sqrt(dx * dx + dy * dy)
            price = s.travel * length + s.cost[b]
            if self.colour != s.colour[b]:
                price += s.change
            elif length > s.limit:
                price += s.trim
            if s.wished:
                price += float(s.nodes.wish_price(np.array(self.a), np.array(b)))
        self[b] = price
        return price

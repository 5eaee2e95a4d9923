"""Link prices for whole arrays of links: what a batch search reads fastest."""

from __future__ import annotations

import numpy as np

from restitch.model import FloatArray
from restitch.sequence.solver.nodes import LENGTH_TOLERANCE_MM, Index, Nodes

TABLE_NODES = 1400
"""Up to this many nodes the whole table is made (16 MB at the limit); above, prices are worked
out when asked for."""

NEVER = 1e12
"""Price of what cannot be."""


class LinkPrices:
    """Prices of links between nodes. Two nodes are added: m, the start, and m + 1, the end (free
    to reach)."""

    __slots__ = ("colour", "cost", "entry", "exit", "free", "into", "nodes", "table", "width")

    def __init__(self, nodes: Nodes) -> None:
        m = nodes.count
        self.nodes, self.width = nodes, m + 2
        self.into = np.append(nodes.into, [NEVER, 0.0])
        self.table: FloatArray | None = None
        if m <= TABLE_NODES or nodes.instance.link_price is not None:
            table = np.full((m + 2, m + 2), NEVER)
            at = np.arange(m)
            table[:m, :m] = nodes.price(at[:, None], at[None, :])
            table[m] = self.into
            table[:, m + 1] = 0.0
            self.table = table.ravel()
            return
        travel = nodes.instance.weights.travel
        self.entry = travel * np.append(nodes.entry, [0.0, 0.0])
        self.exit = travel * np.append(nodes.exit, [0.0, 0.0])
        self.colour = np.append(nodes.colour, [-1, -1])
        self.free = travel * (nodes.instance.trim_over_mm + LENGTH_TOLERANCE_MM)
        self.cost = np.append(nodes.cost, [0.0, 0.0]) if nodes.cost.any() else None

    def __call__(self, a: Index, b: Index) -> FloatArray:
        """Price of the links from nodes a to nodes b, arrays of one shape (k,)."""
        if self.table is not None:
            return self.table.take(a * self.width + b)
        instance = self.nodes.instance
        weights = instance.weights
        price: FloatArray = np.abs(self.exit.take(a) - self.entry.take(b))
        extra = np.zeros(len(price))
        extra[price > self.free] = weights.trim
        extra[self.colour.take(a) != self.colour.take(b)] = weights.colour
        price += extra
        if self.cost is not None:
            price += self.cost.take(b)
        last = self.nodes.count - 1
        if instance.wish is not None:
            price += self.nodes.wish_price(np.minimum(a, last), np.minimum(b, last))
        starts = np.flatnonzero(a > last)
        price[starts] = self.into[b[starts]]
        price[b > last + 1] = 0.0
        return price

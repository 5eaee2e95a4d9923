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

    __slots__ = ("colour", "cost", "entry", "exit", "into", "nodes", "table", "width")

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
        # complex numbers: one gather, one subtraction and one hypot for both coordinates
        self.entry = np.append(nodes.entry[:, 0] + 1j * nodes.entry[:, 1], [0.0, 0.0])
        self.exit = np.append(nodes.exit[:, 0] + 1j * nodes.exit[:, 1], [0.0, 0.0])
        self.colour = np.append(nodes.colour, [-1, -1])
        self.cost = np.append(nodes.cost, [0.0, 0.0])

    def __call__(self, a: Index, b: Index) -> FloatArray:
        """Price of the links from nodes a to nodes b, arrays of one shape (k,)."""
        if self.table is not None:
            return self.table.take(a * self.width + b)
        instance = self.nodes.instance
        weights = instance.weights
        length = np.abs(self.exit[a] - self.entry[b])
        price: FloatArray = (length > instance.trim_over_mm + LENGTH_TOLERANCE_MM) * weights.trim
        price[self.colour[a] != self.colour[b]] = weights.colour
        price += weights.travel * length
        price += self.cost[b]
        last = self.nodes.count - 1
        if instance.wish is not None:
            price += self.nodes.wish_price(np.minimum(a, last), np.minimum(b, last))
        starts = np.flatnonzero(a > last)
        price[starts] = self.into[b[starts]]
        price[b > last + 1] = 0.0
        return price

"""The nodes that each node is cheapest to join with."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from restitch.geometry.small import distinct
from restitch.model import BoolArray, FloatArray
from restitch.sequence.solver.nodes import Index, Nodes
from restitch.sequence.solver.precedence import Precedence
from restitch.sequence.solver.prices import NEVER, LinkPrices

CANDIDATES = 2
"""Objects looked at for each neighbour kept (our choice)."""
AT_ONCE = 1 << 17
"""Links priced at once: a megabyte an array, whatever the size of the design."""


class Near(NamedTuple):
    """For each node k nodes of other objects, cheapest first."""

    after: Index
    """(m, k) nodes that are cheap to go on to."""
    before: Index
    """(m, k) nodes that are cheap to come from."""


class Windows(NamedTuple):
    """The first and the last colour block in which each object can be sewn."""

    first: Index
    last: Index

    def apart(self, a: Index, b: Index) -> BoolArray:
        """Whether objects a and b (broadcast together) never share a block."""
        apart: BoolArray = (self.first[a] > self.last[b]) | (self.first[b] > self.last[a])
        return apart


def windows_of(nodes: Nodes, precedence: Precedence, order: Sequence[int]) -> Windows:
    """Return the windows of all objects in the colour blocks of a feasible order."""
    colour = nodes.instance.colour
    blocks: dict[int, list[int]] = {}
    count, threaded = 0, None
    for x in order:
        if colour[x] != threaded:
            threaded = colour[x]
            blocks.setdefault(threaded, []).append(count)
            count += 1
    first, last = [0] * len(order), [0] * len(order)
    for x in precedence.topological:
        low = max((first[y] for y in precedence.before[x]), default=0)
        own = blocks[colour[x]]
        first[x] = own[bisect_left(own, low)]
    for x in reversed(precedence.topological):
        high = min((last[y] for y in precedence.after[x]), default=count)
        own = blocks[colour[x]]
        last[x] = own[bisect_right(own, high) - 1]
    return Windows(np.array(first), np.array(last))


def near_nodes(nodes: Nodes, prices: LinkPrices, windows: Windows, count: int) -> Near:
    """Return for each node the best node of each of the `count` cheapest objects of its colour.

    Objects that never share a colour block with its own come last.
    """
    objects = len(nodes.instance)
    kept = min(count, objects - 1)
    around = _candidates(nodes, windows, min(CANDIDATES * kept, objects - 1))
    size = np.diff(nodes.first)
    option = np.minimum(np.arange(size.max()), size[:, None] - 1) + nodes.first[:-1, None]
    rows = max(1, AT_ONCE // max(1, around.shape[1] * option.shape[1]))
    parts = []
    for low in range(0, nodes.count, rows):
        own = np.arange(low, min(low + rows, nodes.count))
        owner = nodes.owner[own]
        others = around[owner]
        far = (others == owner[:, None]) | windows.apart(others, owner[:, None])
        parts.append(_cheapest(prices, own, option[others], far, kept))
    after, before = (np.concatenate(side) for side in zip(*parts, strict=True))
    return Near(after=after, before=before)


def _cheapest(
    prices: LinkPrices, own: Index, there: Index, far: BoolArray, kept: int
) -> tuple[Index, Index]:
    """(k, kept) nodes of the objects cheapest to go on to from each node, and to come from.

    ``there`` are the (k, candidates, options) nodes to choose from.
    """
    here = np.broadcast_to(own[:, None, None], there.shape)
    found = []
    for a, b in ((here, there), (there, here)):
        price = prices(a.ravel(), b.ravel()).reshape(there.shape)
        pick = price.argmin(axis=2)[..., None]
        best = np.take_along_axis(price, pick, axis=2)[..., 0] + NEVER * far
        ranked = np.argsort(best, axis=1, kind="stable")[:, :kept]
        found.append(
            np.take_along_axis(np.take_along_axis(there, pick, axis=2)[..., 0], ranked, axis=1)
        )
    return found[0], found[1]


def near_by_price(table: FloatArray, count: int) -> Near:
    """Return the neighbours by a price of each link between nodes, (m + 1, m + 1) with the start
    and the end last."""
    inner = table[:-1, :-1]
    kept = min(count, len(inner) - 1)
    return Near(
        after=np.argsort(inner, axis=1, kind="stable")[:, :kept],
        before=np.argsort(inner.T, axis=1, kind="stable")[:, :kept],
    )


def _candidates(nodes: Nodes, windows: Windows, count: int) -> Index:
    """(n, count) objects of the same colour near each object, itself where there are too few."""
    instance = nodes.instance
    found = np.tile(np.arange(len(instance))[:, None], (1, count))
    colours, gaps = np.array(instance.colour), _gaps(nodes)
    for colour in distinct(colours):
        members = np.flatnonzero(colours == colour)
        kept = min(count, len(members) - 1)
        if kept < 1:
            continue
        rows = max(1, AT_ONCE // len(members))
        for low in range(0, len(members), rows):
            some = members[low : low + rows]
            gap = gaps(some, members) + NEVER * windows.apart(some[:, None], members)
            gap[some[:, None] == members] = np.inf
            found[some, :kept] = members[np.argpartition(gap, kept - 1, axis=1)[:, :kept]]
    return found


def _gaps(nodes: Nodes) -> Callable[[Index, Index], FloatArray]:
    """How near each object of some lies to each of others: between the discs that hold all ends of
    each, or by the cheapest given price."""
    first = nodes.first[:-1]
    given = nodes.instance.link_price
    if given is not None:
        cheap = np.minimum.reduceat(np.minimum.reduceat(given, first, axis=0), first, axis=1)
        cheap = np.minimum(cheap, cheap.T)
        return lambda some, others: cheap[np.ix_(some, others)]
    enters, leaves = nodes.entry, nodes.exit
    middle = np.add.reduceat((enters + leaves) / 2, first) / np.diff(nodes.first)
    reach = np.maximum(np.abs(enters - middle[nodes.owner]), np.abs(leaves - middle[nodes.owner]))
    radius = np.maximum.reduceat(reach, first)
    return lambda some, others: (
        np.abs(middle[some, None] - middle[others]) - radius[some, None] - radius[others]
    )

"""Every option of every object as one row of flat arrays, and the price of going between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from restitch.geometry.small import distinct
from restitch.model import BoolArray, FloatArray
from restitch.sequence.solver.instance import Instance

Index = NDArray[np.int64]
Places = NDArray[np.complex128]
"""x + iy: a distance is one subtraction and one absolute value."""

LENGTH_TOLERANCE_MM = 1e-9
"""A link this much over the trim length still counts as just as long."""


@dataclass(frozen=True, slots=True, eq=False)
class Nodes:
    """Flat view of an instance: node = one option of one object, m nodes in all."""

    instance: Instance
    first: Index
    """(n + 1,) nodes of object x are first[x] .. first[x + 1] - 1."""
    owner: Index
    """(m,) object of each node."""
    colour: Index
    """(m,) colour of each node."""
    entry: Places
    """(m,) mm."""
    exit: Places
    """(m,) mm."""
    cost: FloatArray
    """(m,) price of taking the option."""
    into: FloatArray
    """(m,) price of coming from the start, option cost included."""

    @property
    def count(self) -> int:
        """m."""
        return len(self.owner)

    def length_mm(self, a: Index, b: Index) -> FloatArray:
        """Length of the links from nodes a to nodes b (broadcast together)."""
        length: FloatArray = np.abs(self.exit[a] - self.entry[b])
        return length

    def trimmed(self, length_mm: FloatArray) -> BoolArray:
        """Whether links of one colour and of these lengths are trimmed."""
        cut: BoolArray = length_mm > self.instance.trim_over_mm + LENGTH_TOLERANCE_MM
        return cut

    def price(self, a: Index, b: Index) -> FloatArray:
        """Price of the links from nodes a to nodes b (broadcast together), cost of b included."""
        instance = self.instance
        if instance.link_price is not None:
            price = instance.link_price[a, b]
        else:
            weights = instance.weights
            length = self.length_mm(a, b)
            cut = np.where(self.trimmed(length), weights.trim, 0.0)
            same = self.colour[a] == self.colour[b]
            price = weights.travel * length + np.where(same, cut, weights.colour)
        return price + self.cost[b] + self.wish_price(a, b)

    def wish_price(self, a: Index, b: Index) -> FloatArray | float:
        """What the wishes about the order add to the links from nodes a to nodes b."""
        wish = self.instance.wish
        if wish is None:
            return 0.0
        price: FloatArray | float = 0.0
        a, b = self.owner[a], self.owner[b]
        if wish.rank is not None:
            price = price + wish.back * np.maximum(0.0, wish.rank[a] - wish.rank[b])
        if wish.area is not None:
            price = price + wish.apart * (wish.area[a] != wish.area[b])
        return price


def nodes_of(instance: Instance) -> Nodes:
    """Return the flat view of an instance."""
    sizes = np.array([len(rows) for rows in instance.options], dtype=np.int64)
    first = np.concatenate([[0], np.cumsum(sizes)])
    owner = np.repeat(np.arange(len(instance)), sizes)
    ends = np.concatenate(instance.options).astype(np.float64).reshape(-1, 4)
    entry, exit_ = ends[:, 0] + 1j * ends[:, 1], ends[:, 2] + 1j * ends[:, 3]
    cost = np.zeros(len(owner))
    if instance.option_cost_mm is not None:
        cost = instance.weights.travel * np.concatenate(instance.option_cost_mm)
    into = cost
    if instance.start is not None:
        into = cost + instance.weights.travel * np.abs(entry - complex(*instance.start))
    colour = np.array(instance.colour, dtype=np.int64)[owner]
    return Nodes(instance, first, owner, colour, entry, exit_, cost, into)


def mirrors(nodes: Nodes) -> tuple[list[int], bool]:
    """Return for each node the option of its object nearest to its reverse, and whether every one
    is the exact reverse at the same cost."""
    mirror = np.arange(nodes.count)
    sizes = np.diff(nodes.first)
    exact = True
    for size in distinct(sizes):
        block = nodes.first[:-1][sizes == size][:, None] + np.arange(size)
        entry, exit_ = nodes.entry[block], nodes.exit[block]
        there = np.abs(entry[:, None] - exit_[:, :, None])
        off = there + there.swapaxes(1, 2)
        off += np.abs(nodes.cost[block][:, None] - nodes.cost[block][:, :, None])
        best = off.argmin(axis=2)
        mirror[block] = np.take_along_axis(block, best, axis=1)
        exact = exact and not np.take_along_axis(off, best[..., None], axis=2).any()
    wished = nodes.instance.wish is not None and nodes.instance.wish.rank is not None
    return mirror.tolist(), exact and not wished and nodes.instance.link_price is None

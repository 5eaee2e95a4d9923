"""Proof of optimality for small designs: a dynamic programme over sets of sewn objects.

Level by level; of the ways to one set with one node last the cheapest is kept. A way is dropped
when its price and what going on costs at least come to no less than the best known tour.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from restitch.model import FloatArray
from restitch.sequence.solver.blocks import ColourBound
from restitch.sequence.solver.nodes import Index, Nodes
from restitch.sequence.solver.precedence import Precedence
from restitch.sequence.solver.relaxation import Onward, onward_prices

SLACK = 1e-7
"""Prices closer than this are equal."""

AT_ONCE = 1 << 18
"""Steps priced at once: two megabytes an array."""

NARROW = 1_000
"""Ways kept a level in the first pass, which only looks for a better tour."""


class Proof(NamedTuple):
    """What the programme found out."""

    finished: bool
    """False: too many ways; nothing is proved."""
    path: list[int] | None
    """Nodes of a tour cheaper than the known one, None where there is none."""


class _Ways(NamedTuple):
    """Ways of one length, one a row."""

    sewn: Index
    """The set of sewn objects, bit x = object x."""
    last: Index
    """The last node."""
    price: FloatArray
    """With fines."""
    before: Index
    """Row of the way one node shorter."""

    def rows(self, kept: Index) -> _Ways:
        return _Ways(self.sewn[kept], self.last[kept], self.price[kept], self.before[kept])


def prove(
    nodes: Nodes, precedence: Precedence, bound: ColourBound, known: float, most_ways: int
) -> Proof:
    """Return a cheaper tour, or the proof that there is none, unless the ways are too many."""
    changes = bound.blocks((1 << len(precedence)) - 1) - 1
    onward = onward_prices(nodes, precedence, known, changes)
    steps = _Steps(nodes, precedence, bound, onward)
    better = None
    for width in (NARROW, most_ways // len(precedence)):
        path, price, whole = steps.search(known, width)
        if path is not None:
            better, known = path, price
        if whole:
            return Proof(True, better)
    return Proof(False, better)


class _Steps:
    """What may follow what."""

    def __init__(
        self, nodes: Nodes, precedence: Precedence, bound: ColourBound, onward: Onward
    ) -> None:
        self.onward, self.owner, self.colour = onward, nodes.owner, nodes.colour
        self.count = len(precedence)
        self.bit = np.int64(1) << nodes.owner
        self.needs = np.array(precedence.before_bits, np.int64)[nodes.owner]
        self.blocks = [
            (colour, np.array(sets, np.int64))
            for colour, sets in zip(sorted(set(nodes.instance.colour)), bound.levels, strict=True)
        ]
        self.change = nodes.instance.change_price - onward.charge

    def search(self, known: float, most: int) -> tuple[list[int] | None, float, bool]:
        """The cheapest tour below the known price, that price, and whether nothing was left out:
        of each level at most so many ways are kept."""
        limit = known - SLACK + self.onward.fines
        first = np.flatnonzero((self.needs == 0) & (self.onward.into + self.onward.rest[1] < limit))
        ways = _Ways(self.bit[first], first, self.onward.into[first], first)
        ways = ways.rows(np.flatnonzero(ways.price + self._rest(ways, 1) < limit))
        trail, whole = [ways], True
        for level in range(2, self.count + 1):
            ways = self._next(ways, level, limit)
            if len(ways.last) > most:
                rank = ways.price + self._rest(ways, level)
                ways, whole = ways.rows(np.argpartition(rank, most)[:most]), False
            trail.append(ways)
        if not len(ways.last):
            return None, known, whole
        return _walk_back(trail), float(ways.price.min()) - self.onward.fines, whole

    def _rest(self, ways: _Ways, level: int) -> FloatArray:
        """What going on costs at least; the next object must be unsewn."""
        then = self.onward.then[level, ways.last]
        met = (then >= 0) & (ways.sewn >> np.maximum(then, 0) & 1).astype(np.bool_)
        rest: FloatArray = np.where(
            met, self.onward.other[level, ways.last], self.onward.rest[level, ways.last]
        )
        return rest + self._changes(ways)

    def _changes(self, ways: _Ways) -> FloatArray:
        """What the colour changes to come cost at least, beside the charge; the block of the last
        object may go on."""
        price = np.zeros(len(ways.last))
        if self.change:
            threaded = self.colour[ways.last]
            for colour, sets in self.blocks:
                more = [(members & ~ways.sewn) != 0 for members in sets]
                price += np.sum(more, axis=0) - ((threaded == colour) & more[0])
        return self.change * price

    def _next(self, ways: _Ways, level: int, limit: float) -> _Ways:
        """All ways one node longer that may still lead to a tour below the limit."""
        rows = max(1, AT_ONCE // len(self.owner))
        changes = self._changes(ways)
        parts = [
            self._longer(ways, changes, slice(low, low + rows), level, limit)
            for low in range(0, len(ways.last), rows)
        ]
        if not parts:
            return ways
        return _cheapest(
            _Ways(
                np.concatenate([p.sewn for p in parts]),
                np.concatenate([p.last for p in parts]),
                np.concatenate([p.price for p in parts]),
                np.concatenate([p.before for p in parts]),
            ),
            len(self.owner),
        )

    def _longer(
        self, ways: _Ways, changes: FloatArray, span: slice, level: int, limit: float
    ) -> _Ways:
        sewn = ways.sewn[span]
        least = self.onward.price[ways.last[span]] + self.onward.rest[level]
        room = limit - ways.price[span] - changes[span]
        row, node = np.nonzero(least < room[:, None])
        free = (sewn[row] & self.bit[node] == 0) & (self.needs[node] & ~sewn[row] == 0)
        row, node = row[free], node[free]
        last = ways.last[span][row]
        price = ways.price[span][row] + self.onward.full[last, node]
        grown = _Ways(sewn[row] | self.bit[node], node, price, row + span.start)
        return grown.rows(np.flatnonzero(grown.price + self._rest(grown, level) < limit))


def _cheapest(ways: _Ways, nodes: int) -> _Ways:
    """Of the ways to one set with one node last the cheapest."""
    state = ways.sewn * nodes + ways.last
    order = np.lexsort((ways.price, state))
    new = np.ones(len(order), np.bool_)
    new[1:] = np.diff(state[order]) != 0
    return ways.rows(order[new])


def _walk_back(trail: list[_Ways]) -> list[int]:
    at = int(trail[-1].price.argmin())
    path = []
    for ways in reversed(trail):
        path.append(int(ways.last[at]))
        at = int(ways.before[at])
    return path[::-1]

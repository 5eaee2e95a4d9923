"""The sequence under search: nodes by place, places by object, links by place."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from restitch.model import BoolArray, FloatArray
from restitch.sequence.solver.nodes import Index, Nodes, mirrors
from restitch.sequence.solver.precedence import Precedence
from restitch.sequence.solver.prices import LinkPrices

State = tuple[Index, Index, FloatArray]
"""Nodes by place, places by object, links by place."""


class Tour:
    """A feasible sequence of nodes between a start and an end.

    Place 0 holds the start (node m, object n), place n + 1 the end (node m + 1, object n + 1).
    Mutable on purpose: this is the inner loop of the search.
    """

    __slots__ = (
        "colour",
        "count",
        "exact",
        "first",
        "link",
        "mirror",
        "owner",
        "pairs",
        "place",
        "prices",
        "seq",
        "size",
    )

    def __init__(
        self, nodes: Nodes, precedence: Precedence, prices: LinkPrices, path: Sequence[int]
    ) -> None:
        n, m = len(nodes.instance), nodes.count
        mirror, self.exact = mirrors(nodes)
        self.count, self.prices = n, prices
        self.mirror = np.append(mirror, [m, m + 1])
        self.owner = np.append(nodes.owner, [n, n + 1])
        self.colour = np.append(nodes.colour, [-1, -1])
        self.first = np.append(nodes.first[:-1], [m, m + 1])
        self.size = np.append(np.diff(nodes.first), [1, 1])
        self.pairs = _Pairs(precedence)
        self.seq = np.array([m, *path, m + 1])
        """(n + 2,) node at each place."""
        self.place = np.empty(n + 2, np.int64)
        """(n + 2,) place of each object."""
        self.place[self.owner[self.seq]] = np.arange(n + 2)
        self.link: FloatArray = prices(self.seq[:-1], self.seq[1:])
        """(n + 1,) price of the link that leaves each place."""

    def path(self) -> list[int]:
        """The nodes in order, without start and end."""
        path: list[int] = self.seq[1:-1].tolist()
        return path

    def cost(self) -> float:
        """Price of the whole."""
        return float(self.link.sum())

    def objects(self, places: Index) -> Index:
        """The objects at places."""
        found: Index = self.owner[self.seq[places]]
        return found

    def state(self) -> State:
        """A copy of what changes in a search."""
        return self.seq.copy(), self.place.copy(), self.link.copy()

    def restore(self, state: State) -> None:
        """Go back to a copied state."""
        self.seq, self.place, self.link = state

    def bounds(self) -> Index:
        """Places at which a colour run begins, and the place behind the last run."""
        colour = self.colour[self.seq]
        bounds: Index = np.flatnonzero(colour[1:] != colour[:-1]) + 1
        return bounds

    def limits(self) -> tuple[Index, Index]:
        """For each object the place of the first that must follow it (else the end's) and of the
        last that must go before it (else 0)."""
        return self.pairs.limits(self.place)

    def rewrite(self, low: int, nodes: Index) -> None:
        """Write nodes (the same objects in any feasible order) from place `low` on."""
        high = low + len(nodes)
        self.seq[low:high] = nodes
        self.place[self.owner[nodes]] = np.arange(low, high)
        self.link[low - 1 : high] = self.prices(self.seq[low - 1 : high], self.seq[low : high + 1])

    def shift(self, at: Index, gap: Index, nodes: Index) -> None:
        """Move the stretches that begin at places `at` (k,) before the places `gap` (k,), sewn as
        `nodes` (k, length). Stretches and gaps share no link.

        Each move is feasible by itself; those that are not together are left out.
        """
        length = nodes.shape[1]
        step = np.arange(1, length + 1) / (length + 1)
        while len(at):
            span = at[:, None] + np.arange(length)
            rank = np.arange(self.count + 2, dtype=np.float64)
            rank[span] = gap[:, None] - 1 + step
            order = np.argsort(rank, kind="stable")
            seq = self.seq.copy()
            seq[span] = nodes
            seq = seq[order]
            place = np.empty_like(self.place)
            place[self.owner[seq]] = np.arange(self.count + 2)
            broken = self.pairs.broken(place)
            if broken is None:
                moved = place[self.owner[nodes]].ravel()
                touched = np.concatenate([moved, moved - 1, place[self.objects(at - 1)]])
                self.seq, self.place, self.link = seq, place, self.link[order[:-1]]
                self.link[touched] = self.prices(seq[touched], seq[touched + 1])
                return
            kept = ~broken[self.owner[nodes]].any(axis=1)
            at, gap, nodes = at[kept], gap[kept], nodes[kept]

    def turning(self) -> FloatArray:
        """(n + 2,) running sum over the places of what turning a stretch adds to its links: turned
        from place a to place b it adds ``turning[b] - turning[a]``."""
        seq = self.seq
        total = np.zeros(self.count + 2)
        if not self.exact:
            back = self.prices(self.mirror[seq[2:-1]], self.mirror[seq[1:-2]])
            total[2:-1] = np.cumsum(back - self.link[1:-1])
        return total


class _Pairs:
    """The precedence pairs as arrays, sorted both ways."""

    def __init__(self, precedence: Precedence) -> None:
        self.count = len(precedence)
        pairs = [(x, y) for x, after in enumerate(precedence.after) for y in after]
        self.any = bool(pairs)
        table = np.array(pairs, dtype=np.int64).reshape(-1, 2)
        self.a, self.b = table.T.copy()
        self.with_after, self.after_from = np.unique(self.a, return_index=True)
        self.a_by_b, by_b = table[np.argsort(self.b, kind="stable")].T.copy()
        self.with_before, self.before_from = np.unique(by_b, return_index=True)

    def limits(self, place: Index) -> tuple[Index, Index]:
        latest = np.full(self.count + 2, self.count + 1)
        earliest = np.zeros(self.count + 2, np.int64)
        if self.any:
            latest[self.with_after] = np.minimum.reduceat(place[self.b], self.after_from)
            earliest[self.with_before] = np.maximum.reduceat(place[self.a_by_b], self.before_from)
        return latest, earliest

    def reach(self, place: Index) -> Index:
        """(n + 2, n + 2) how far a stretch reaches that may change sides with [i, j): up to place
        ``reach[i, j]``, exclusive, where i < j."""
        n = self.count
        at = np.arange(n + 2)
        nearest = np.full((n + 2, n + 2), n + 1)
        a, b = place[self.a], place[self.b]
        nearest[a, b] = b
        nearest = np.minimum.accumulate(nearest[:, ::-1], axis=1)[:, ::-1]
        nearest = np.where(at[:, None] < at, nearest, n + 1)
        return np.minimum.accumulate(nearest[::-1], axis=0)[::-1]

    def broken(self, place: Index) -> BoolArray | None:
        """Which objects are part of a pair in the wrong order; None where all are right."""
        wrong = place[self.a] > place[self.b]
        if not wrong.any():
            return None
        broken = np.zeros(self.count + 2, np.bool_)
        broken[self.a[wrong]] = broken[self.b[wrong]] = True
        return broken

    def may_swap(self, place: Index, low: int, middle: int, high: int) -> bool:
        """Whether places [low, middle) and [middle, high) may change sides."""
        if not self.any:
            return True
        a, b = place[self.a], place[self.b]
        return not ((a >= low) & (a < middle) & (b >= middle) & (b < high)).any()

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

    def taken_out(self, length: int) -> FloatArray:
        """(n + 2,) what taking out the stretch of so many objects that begins at each place
        saves; minus infinity where there is none."""
        seq, last = self.seq, self.count + 1 - length
        saved = np.full(self.count + 2, -np.inf)
        saved[1 : last + 1] = self.link[:last] + self.link[length:]
        saved[1 : last + 1] -= self.prices(seq[:last], seq[length + 1 :])
        return saved

    def write(self, places: Index, nodes: Index) -> None:
        """Write nodes to places, all objects of a stretch to its places and feasible."""
        if len(places):
            seq = self.seq
            seq[places] = nodes
            self.place[self.owner.take(nodes)] = places
            touched = np.concatenate([places - 1, places])
            self.link[touched] = self.prices(seq.take(touched), seq.take(touched + 1))

    def turn_round(self, low: Index, high: Index) -> None:
        """Turn round the stretches [low, high), each feasible and none touching another."""
        span, own = _spans(low, high)
        self.write(span, self.mirror.take(self.seq.take((low + high - 1)[own] - span)))

    def exchange(self, low: Index, middle: Index, high: Index) -> None:
        """Exchange the stretches [low, middle) and [middle, high), where that is feasible; none
        touches another."""
        span, own = _spans(low, high)
        first, second = (middle - low)[own], (high - middle)[own]
        source = span + np.where(span < low[own] + second, first, -second)
        nodes = self.seq.take(source)
        if self.pairs.any:
            place = self.place.copy()
            place[self.owner.take(nodes)] = span
            broken = self.pairs.broken(place)
            if broken is not None:
                wrong = np.zeros(len(low), np.bool_)
                wrong[own[broken.take(self.owner.take(nodes))]] = True
                free = ~wrong[own]
                span, nodes = span[free], nodes[free]
        self.write(span, nodes)

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


def _spans(low: Index, high: Index) -> tuple[Index, Index]:
    """The places of all stretches [low, high), and the number of the stretch of each."""
    size = high - low
    own = np.repeat(np.arange(len(low)), size)
    span: Index = np.arange(len(own)) + (high - np.cumsum(size))[own]
    return span, own

"""The sequences under search: nodes by place, places by object, links by place."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from restitch.model import BoolArray, FloatArray
from restitch.sequence.solver.nodes import Index, Nodes, mirrors
from restitch.sequence.solver.precedence import Precedence
from restitch.sequence.solver.prices import LinkPrices


class Tour:
    """Feasible sequences of nodes between a start and an end, several of one problem in a row.

    Each takes n + 2 places: the start (node m, object n), its nodes, the end (node m + 1, object
    n + 1). Places are numbered through all of them, and so are objects: those of the k-th sequence
    from k (n + 2) on. A change never leaves its sequence.
    Mutable on purpose: this is the inner loop of the search.
    """

    __slots__ = (
        "base",
        "colour",
        "copies",
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
        self,
        nodes: Nodes,
        precedence: Precedence,
        prices: LinkPrices,
        paths: Sequence[Sequence[int]],
        copies: int,
    ) -> None:
        """``paths``: the sequences begin with these in turn."""
        n, m = len(nodes.instance), nodes.count
        mirror, self.exact = mirrors(nodes)
        self.count, self.copies, self.prices = n, copies, prices
        self.mirror = np.append(mirror, [m, m + 1])
        self.owner = np.append(nodes.owner, [n, n + 1])
        self.colour = np.append(nodes.colour, [-1, -1])
        self.first = np.append(nodes.first[:-1], [m, m + 1])
        self.size = np.append(np.diff(nodes.first), [1, 1])
        self.pairs = Pairs(precedence, copies)
        self.base = np.repeat(np.arange(copies) * (n + 2), n + 2)
        """Of each place: the first place of its sequence, and its first object."""
        rows = [[m, *paths[k % len(paths)], m + 1] for k in range(copies)]
        self.seq = np.array(rows).ravel()
        """Node at each place."""
        self.place = np.empty_like(self.seq)
        """Place of each object."""
        self.place[self.owner[self.seq] + self.base] = np.arange(len(self.seq))
        self.link: FloatArray = np.zeros(len(self.seq))
        """Price of the link that leaves each place, 0 at the ends."""
        inner = np.flatnonzero(self.seq != m + 1)
        self.link[inner] = prices(self.seq[inner], self.seq[inner + 1])

    def anchors(self, times: int) -> Index:
        """The places of all objects, so many times over."""
        places = np.arange(len(self.seq)).reshape(self.copies, -1)[:, 1:-1]
        return np.tile(places.ravel(), times)

    def path(self) -> list[int]:
        """The nodes of the cheapest sequence in order, without start and end."""
        best = int(self.costs().argmin())
        path: list[int] = self.seq.reshape(self.copies, -1)[best, 1:-1].tolist()
        return path

    def costs(self) -> FloatArray:
        """Price of each sequence."""
        costs: FloatArray = self.link.reshape(self.copies, -1).sum(axis=1)
        return costs

    def objects(self, places: Index) -> Index:
        """The objects at places."""
        found: Index = self.owner.take(self.seq.take(places)) + self.base.take(places)
        return found

    def bounds(self) -> Index:
        """Places at which a colour run begins, and those behind the last runs."""
        colour = self.colour[self.seq]
        bounds: Index = np.flatnonzero(colour[1:] != colour[:-1]) + 1
        return bounds

    def dear(self, least: float) -> Index:
        """Places reached by links of this price at least, the first of each sequence and the
        place of its end."""
        dear = (self.link >= least).reshape(self.copies, -1)
        dear[:, 0] = dear[:, -2] = True
        dear[:, -1] = False
        found: Index = np.flatnonzero(dear) + 1
        return found

    def limits(self) -> tuple[Index, Index]:
        """For each object the place of the first that must follow it (else the end's) and of the
        last that must go before it (else the start's)."""
        return self.pairs.limits(self.place, self.base)

    def taken_out(self, length: int) -> FloatArray:
        """For each place, what taking out the stretch of so many objects that begins there saves;
        minus infinity where there is none."""
        seq, total = self.seq, len(self.seq) - length
        saved = np.full(len(seq), -np.inf)
        saved[1:total] = self.link[: total - 1] + self.link[length : total + length - 1]
        saved[1:total] -= self.prices(seq[: total - 1], seq[length + 1 :])
        by_copy = saved.reshape(self.copies, -1)
        by_copy[:, 0] = by_copy[:, self.count + 2 - length :] = -np.inf
        return saved

    def write(self, places: Index, nodes: Index) -> None:
        """Write nodes to places, all objects of a stretch to its places and feasible."""
        if len(places):
            seq = self.seq
            seq[places] = nodes
            self.place[self.owner.take(nodes) + self.base.take(places)] = places
            touched = np.concatenate([places - 1, places])
            self.link[touched] = self.prices(seq.take(touched), seq.take(touched + 1))

    def turn_round(self, low: Index, high: Index) -> None:
        """Turn round the stretches [low, high), each feasible and none touching another."""
        span, own = _spans(low, high)
        self.write(span, self.mirror.take(self.seq.take((low + high - 1)[own] - span)))

    def exchange(self, low: Index, middle: Index, high: Index) -> None:
        """Exchange the stretches [low, middle) and [middle, high), each feasible and none touching
        another."""
        span, own = _spans(low, high)
        first, second = (middle - low)[own], (high - middle)[own]
        self.write(span, self.seq.take(span + np.where(span < low[own] + second, first, -second)))

    def shift(self, at: Index, gap: Index, nodes: Index) -> None:
        """Move the stretches that begin at places `at` (k,) before the places `gap` (k,), sewn as
        `nodes` (k, length). Stretches and gaps share no link.

        Each move is feasible by itself; those that are not together are left out.
        """
        length = nodes.shape[1]
        step = np.arange(1, length + 1) / (length + 1)
        while len(at):
            span = at[:, None] + np.arange(length)
            rank = np.arange(len(self.seq), dtype=np.float64)
            rank[span] = gap[:, None] - 1 + step
            order = np.argsort(rank, kind="stable")
            seq = self.seq.copy()
            seq[span] = nodes
            seq = seq.take(order)
            place = np.empty_like(self.place)
            place[self.owner.take(seq) + self.base] = np.arange(len(seq))
            broken = self.pairs.broken(place)
            objects = self.owner.take(nodes) + self.base.take(at)[:, None]
            if broken is None:
                moved = place.take(objects).ravel()
                touched = np.concatenate([moved, moved - 1, place[self.objects(at - 1)]])
                self.seq, self.place, self.link = seq, place, self.link.take(order)
                self.link[touched] = self.prices(seq.take(touched), seq.take(touched + 1))
                return
            kept = ~broken[objects].any(axis=1)
            at, gap, nodes = at[kept], gap[kept], nodes[kept]

    def turnable(self, low: Index, high: Index) -> BoolArray:
        """Whether the layering lets the stretches [low, high) be turned round."""
        latest = self.limits()[0].take(self.owner.take(self.seq) + self.base)
        soonest = np.minimum.accumulate(latest[::-1])[::-1]
        free: BoolArray = soonest.take(low) >= high
        return free

    def turning(self) -> FloatArray:
        """Running sum over the places of what turning a stretch adds to its links: turned from
        place a to place b it adds ``turning[b] - turning[a]``."""
        total = np.zeros(len(self.seq))
        if not self.exact:
            turned = self.mirror.take(self.seq)
            added = self.prices(turned[1:], turned[:-1]) - self.link[:-1]
            # links from the start and to the end are never turned
            last = self.owner.take(self.seq) >= self.count
            added[last[1:] | last[:-1]] = 0.0
            total[1:] = np.cumsum(added)
        return total


class Pairs:
    """The precedence pairs of all sequences as arrays, sorted both ways."""

    def __init__(self, precedence: Precedence, copies: int) -> None:
        n = self.count = len(precedence)
        self.copies = copies
        pairs = [(x, y) for x, after in enumerate(precedence.after) for y in after]
        self.any = bool(pairs)
        shift = np.repeat(np.arange(copies) * (n + 2), len(pairs))[:, None]
        table = np.tile(np.array(pairs, dtype=np.int64).reshape(-1, 2), (copies, 1)) + shift
        self.a, self.b = table.T.copy()
        self.after_from = _begins(self.a)
        self.with_after = self.a[self.after_from]
        self.a_by_b, by_b = table[np.argsort(self.b, kind="stable")].T.copy()
        self.before_from = _begins(by_b)
        self.with_before = by_b[self.before_from]

    def limits(self, place: Index, base: Index) -> tuple[Index, Index]:
        latest, earliest = base + self.count + 1, base.copy()
        if self.any:
            latest[self.with_after] = np.minimum.reduceat(place.take(self.b), self.after_from)
            earliest[self.with_before] = np.maximum.reduceat(
                place.take(self.a_by_b), self.before_from
            )
        return latest, earliest

    def reach(self, place: Index) -> Index:
        """(n + 2, n + 2) how far a stretch reaches that may change sides with [i, j): up to place
        ``reach[i, j]``, exclusive, where i < j. Of a single sequence."""
        n = self.count
        at = np.arange(n + 2)
        nearest = np.full((n + 2, n + 2), n + 1)
        a, b = place[self.a], place[self.b]
        nearest[a, b] = b
        nearest = np.minimum.accumulate(nearest[:, ::-1], axis=1)[:, ::-1]
        nearest = np.where(at[:, None] < at, nearest, n + 1)
        return np.minimum.accumulate(nearest[::-1], axis=0)[::-1]

    def swappable(self, place: Index, low: Index, middle: Index, high: Index) -> BoolArray:
        """Whether the stretches [low, middle) and [middle, high) may change sides."""
        # the pairs of the sequence that each stretch is part of
        own = low // (self.count + 2)
        a, b = (place.take(ends).reshape(self.copies, -1)[own] for ends in (self.a, self.b))
        low, middle, high = low[:, None], middle[:, None], high[:, None]
        held = (a >= low) & (a < middle) & (b >= middle) & (b < high)
        free: BoolArray = ~np.logical_or.reduce(held, axis=1)
        return free

    def broken(self, place: Index) -> BoolArray | None:
        """Which objects are part of a pair in the wrong order; None where all are right."""
        wrong = place.take(self.a) > place.take(self.b)
        if not wrong.any():
            return None
        broken = np.zeros(len(place), np.bool_)
        broken[self.a[wrong]] = broken[self.b[wrong]] = True
        return broken


def _begins(ordered: Index) -> Index:
    """Where a new number begins."""
    new = np.ones(len(ordered), np.bool_)
    new[1:] = ordered[1:] != ordered[:-1]
    return np.flatnonzero(new)


def _spans(low: Index, high: Index) -> tuple[Index, Index]:
    """The places of all stretches [low, high), and the number of the stretch of each."""
    size = high - low
    own = np.repeat(np.arange(len(low)), size)
    span: Index = np.arange(len(own)) + (high - np.cumsum(size))[own]
    return span, own

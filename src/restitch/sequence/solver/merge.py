"""The best pieces of several sequences put together.

Two sequences often sew the same objects one after the other, each in its own order and with its own
ends. The cheaper of two such pieces fits into the other sequence as it is: what goes before and
what follows stays the same, so the layering holds. (For round trips known as subtour exchange
crossover: Yamamura, Ono and Kobayashi 1992, from memory.)
"""

from __future__ import annotations

import numpy as np

from restitch.model import FloatArray
from restitch.sequence.solver.nodes import Index
from restitch.sequence.solver.tour import Tour

LONGEST_PIECE = 25
"""Objects of a piece at the most, and no more than half of all: pieces of nearly everything would
make all sequences the same (by trial)."""

LEAST_OBJECTS = 4
"""Of fewer than these no half is a piece."""

MOST_PASSES = 8
"""Passes at the most (our choice; most merges end by themselves after four)."""

LEAST_GAIN = 1e-6
"""Gains below this are rounding."""


def merge(tour: Tour) -> None:
    """Put the cheapest pieces of all sequences into the others, as long as that gains."""
    if tour.copies == 1 or tour.count < LEAST_OBJECTS:
        return
    low, high = _pieces(tour)
    for _ in range(MOST_PASSES):
        if not _exchange(tour, low, high):
            return


def _pieces(tour: Tour) -> tuple[Index, Index]:
    """Where all pieces of all sequences begin and end (exclusive)."""
    sizes = np.arange(2, min(LONGEST_PIECE, tour.count // 2) + 1)
    first = tour.anchors(1)
    low = np.tile(first, len(sizes))
    high = low + np.repeat(sizes, len(first))
    inside = high <= tour.base.take(low) + tour.count + 1
    return low[inside], high[inside]


def _exchange(tour: Tour, low: Index, high: Index) -> bool:
    """Put cheaper pieces in place of those [low, high), first where most is gained and none twice
    at one place; whether there were any."""
    taken = bytearray(len(tour.seq))
    places, nodes = [], []
    for a, b, begin, turned in _offers(tour, low, high).tolist():
        if 1 not in taken[a - 1 : b]:
            piece = tour.seq[begin : begin + b - a]
            if not _same_objects(tour, tour.seq[a:b], piece):
                continue
            taken[a - 1 : b] = b"\1" * (b - a + 1)
            places.append(np.arange(a, b))
            nodes.append(tour.mirror[piece[::-1]] if turned else piece)
    if places:
        tour.write(np.concatenate(places), np.concatenate(nodes))
    return bool(places)


def _same_objects(tour: Tour, piece: Index, other: Index) -> bool:
    """Whether two pieces of one tag hold the same objects: a tag alone is no proof."""
    return np.array_equal(np.sort(tour.owner[piece]), np.sort(tour.owner[other]))


def _offers(tour: Tour, low: Index, high: Index) -> Index:
    """(k, 4) pieces that a cheaper one of the same objects can take the place of: where they begin
    and end, where the other begins and whether it is turned round. Most gain first; of those that
    begin at one place only the best."""
    seq = tour.seq
    paid = np.append(0.0, np.cumsum(tour.link))
    inner = paid.take(high - 1) - paid.take(low)
    model = _cheapest_alike(_tags(tour, low, high), inner)
    dear = (inner > inner.take(model) + LEAST_GAIN).nonzero()[0]
    model = model[dear]
    begin, end, room = low[model], high[model], -inner[model]
    low, high = low[dear], high[dear]
    room += paid.take(high) - paid.take(low - 1)
    head, tail, before, behind = (seq.take(at) for at in (begin, end - 1, low - 1, high))
    plain = room - tour.prices(before, head) - tour.prices(tail, behind)
    head, tail = tour.mirror.take(tail), tour.mirror.take(head)
    turning = tour.turning()
    room -= turning.take(end - 1) - turning.take(begin)
    turned = room - tour.prices(before, head) - tour.prices(tail, behind)
    if tour.pairs.any:
        turned[~tour.turnable(begin, end)] = 0.0
    gain = np.append(plain, turned)
    rising = np.argsort(gain, kind="stable")
    rising = rising[gain[rising] > LEAST_GAIN]
    # of several for one place, the last to be written down has it
    best = np.full(len(seq), -1)
    best[low.take(rising % max(len(low), 1))] = rising
    best = best[best >= 0]
    best = best[np.argsort(-gain[best], kind="stable")]
    turn, piece = np.divmod(best, max(len(low), 1))
    return np.column_stack([low[piece], high[piece], begin[piece], turn])


def _cheapest_alike(tags: Index, price: FloatArray) -> Index:
    """For each piece the number of the cheapest with its tag, the first of several."""
    order = np.argsort(tags)
    ranked = tags.take(order)
    begins = np.flatnonzero(np.append(True, ranked[1:] != ranked[:-1]))
    size = np.diff(np.append(begins, len(tags)))
    sorted_price = price.take(order)
    least = np.repeat(np.minimum.reduceat(sorted_price, begins), size)
    # the sort may leave equal tags in any order: the lowest number is the same everywhere
    first = np.minimum.reduceat(np.where(sorted_price == least, order, len(tags)), begins)
    found = np.empty(len(tags), np.int64)
    found[order] = np.repeat(first, size)
    return found


def _tags(tour: Tour, low: Index, high: Index) -> Index:
    """A number for each piece that is the same for the same set of objects."""
    # sums of 64 random bits an object (they may run over): different sets all but never agree
    bits = np.iinfo(np.int64)
    tag = np.random.default_rng(0).integers(bits.min, bits.max, tour.count + 2)
    total = np.append(0, np.cumsum(tag.take(tour.owner.take(tour.seq))))
    tags: Index = total.take(high) - total.take(low)
    return tags

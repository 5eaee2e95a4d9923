"""Changes to the sequence, drawn and judged in batches.

One call draws a change of one sort for every place (or several times for every place of a short
sequence), each of which makes two near ends meet, prices all of them at once, and makes those that
gain enough, do not touch each other and keep the precedence. ``warmth``: a change that costs w
more is made with chance exp(-w / warmth). That luck is drawn before the price is known, so what a
first price rules out needs no second one.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from restitch.model import FloatArray
from restitch.sequence.solver.neighbours import Near
from restitch.sequence.solver.nodes import Index
from restitch.sequence.solver.tour import Tour

Move = Callable[[Tour, Near, np.random.Generator, float, Index], None]
"""``move(tour, near, random, warmth, anchors)`` draws a change for each of the places `anchors`."""

ANY_NEARBY = 0.2
"""Share of rounds whose partners are not near ones of a colour but any of those sewn at about
the same time: where a colour ends and the next begins no near ones meet (by trial)."""

WINDOW = 15
"""Places to either side that count as about the same time (by trial)."""

MOST_RUNS = 4
"""Colour runs moved in one piece at the most (our choice)."""

MOST_PIECES = 30
"""Stretches between dear links that are changed in one piece at the most (our choice)."""

DRAWS_A_RUN = 4
"""Changes of whole colour runs drawn at a time, for each run (our choice)."""

ANY_PLACE = 0.1
"""Share of exchanges in reach that make no near ends meet (by trial on TSPLIB) ..."""

FIRST_ENDS = 0.4
"""... and of those where they meet at the end of the first stretch."""

LONGEST_SEGMENT = 3
"""Objects moved in one piece at the most; longer stretches are exchanged."""


def turn(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, anchors: Index
) -> None:
    """Take another option of single objects where they are."""
    del near
    seq = tour.seq
    node = seq.take(anchors)
    x = tour.owner.take(node)
    drawn = tour.first.take(x) + _below(random, tour.size.take(x) - 1)
    drawn += drawn >= node
    room = tour.link.take(anchors - 1) + tour.link.take(anchors)
    room += _luck(random, warmth, len(anchors)) - tour.prices(seq.take(anchors - 1), drawn)
    made = ((room > 0) & (tour.size.take(x) > 1)).nonzero()[0]
    at, drawn = anchors[made], drawn[made]
    made = (room[made] > tour.prices(drawn, seq.take(at + 1))).nonzero()[0]
    at, drawn = at[made], drawn[made]
    kept = _clear(np.stack([at - 1, at], axis=1), tour, random)
    tour.write(at[kept], drawn[kept])


def insert(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, anchors: Index
) -> None:
    """Move single objects, by any of their options, next to near ones."""
    seq = tour.seq
    node, behind = _draw(tour, near, random, anchors)
    x = tour.owner.take(node)
    if random.random() < 0.5:
        # another option than the one that makes the ends meet: they may share an entry
        node = tour.first.take(x) + _below(random, tour.size.take(x))
    x += tour.base.take(anchors)
    at = tour.place.take(x)
    gap = anchors + 1 if behind else anchors
    room = tour.taken_out(1).take(at) + tour.link.take(gap - 1)
    room += _luck(random, warmth, len(anchors))
    room -= tour.prices(seq.take(gap - 1), node)
    made = (room > 0).nonzero()[0]
    at, gap, node, x, room = at[made], gap[made], node[made], x[made], room[made]
    room -= tour.prices(node, seq.take(gap))
    made = ((room > 0) & (gap != at) & (gap != at + 1)).nonzero()[0]
    at, gap, node, x = at[made], gap[made], node[made], x[made]
    if len(at) and tour.pairs.any:
        latest, earliest = tour.limits()
        free = np.where(gap > at, latest[x] >= gap, earliest[x] < gap)
        at, gap, node = at[free], gap[free], node[free]
    kept = _clear(np.stack([at - 1, at, gap - 1], axis=1), tour, random)
    tour.shift(at[kept], gap[kept], node[kept, None])


def move_segment(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, anchors: Index
) -> None:
    """Move two or three objects in one piece, turned round or not, next to a near one."""
    length = int(random.integers(2, LONGEST_SEGMENT + 1))
    if tour.count <= length:
        return
    turned = bool(random.random() < 0.5)
    node, behind = _draw(tour, near, random, anchors)
    seq = tour.seq
    at = tour.place.take(tour.owner.take(node) + tour.base.take(anchors))
    if behind == turned:
        at -= length - 1
    gap = anchors + 1 if behind else anchors
    # a stretch that begins before the first place cannot be taken out
    room = tour.taken_out(length).take(at, mode="clip") + tour.link.take(gap - 1)
    if turned and not tour.exact:
        turning = tour.turning()
        room += turning.take(at, mode="clip") - turning.take(at + length - 1, mode="clip")
    room += _luck(random, warmth, len(anchors))
    made = (room > 0).nonzero()[0]
    at, gap, room = at[made], gap[made], room[made]
    head, tail = seq.take(at), seq.take(at + length - 1)
    if turned:
        head, tail = tour.mirror.take(tail), tour.mirror.take(head)
    room -= tour.prices(seq.take(gap - 1), head)
    made = ((room > 0) & ((gap < at) | (gap > at + length))).nonzero()[0]
    at, gap, tail, room = at[made], gap[made], tail[made], room[made]
    made = (room > tour.prices(tail, seq.take(gap))).nonzero()[0]
    at, gap = at[made], gap[made]
    if len(at) and tour.pairs.any:
        latest, earliest = tour.limits()
        x = tour.objects(at[:, None] + np.arange(length))
        later, earlier = latest[x], earliest[x]
        free = np.where(gap > at, later.min(axis=1) >= gap, earlier.max(axis=1) < gap)
        if turned:
            free &= later[:, :-1].min(axis=1) >= at + length
        at, gap = at[free], gap[free]
    span = at[:, None] + np.arange(length)
    kept = _clear(np.column_stack([at - 1, span, gap - 1]), tour, random)
    nodes = seq[span[kept]]
    tour.shift(at[kept], gap[kept], tour.mirror[nodes[:, ::-1]] if turned else nodes)


def reverse(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, anchors: Index
) -> None:
    """Turn stretches round so that two near ends meet."""
    node, behind = _draw(tour, near, random, anchors)
    other = tour.place.take(tour.owner.take(node) + tour.base.take(anchors))
    low, high = np.minimum(anchors, other) + behind, np.maximum(anchors, other) + behind
    _reverse(tour, low, high, random, warmth)


def reverse_runs(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, anchors: Index
) -> None:
    """Turn round whole colour runs, and stretches at the ends of runs."""
    del near
    bounds = tour.bounds()
    count = min(len(anchors), DRAWS_A_RUN * len(bounds))
    run = random.integers(0, len(bounds) - 1, count)
    other = np.minimum(run + random.integers(1, MOST_RUNS + 1, count), len(bounds) - 1)
    low, high = bounds[run], bounds[other]
    inside = (tour.base[low] == tour.base[high]).nonzero()[0]
    low, high, count = low[inside], high[inside], len(inside)
    # a third each: both ends at bounds, the first only, the last only
    luck, inside = random.random((2, count))
    any_place = low + (inside * (high - low)).astype(np.int64)
    low = np.where(luck < 1 / 3, any_place, low)
    high = np.where(luck > 2 / 3, any_place, high)
    _reverse(tour, low, high, random, warmth)


def reverse_pieces(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, anchors: Index
) -> None:
    """Turn round stretches between dear links."""
    del near
    low, high = _dear(tour, random, anchors, 2)
    _reverse(tour, low, high, random, warmth)


def exchange_pieces(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, anchors: Index
) -> None:
    """Exchange stretches between dear links."""
    del near
    low, middle, high = _dear(tour, random, anchors, 3)
    _exchange(tour, low, middle, high, random, warmth)


def _dear(tour: Tour, random: np.random.Generator, anchors: Index, k: int) -> Index:
    """(k, count) places in order that are reached by dear links: as dear as one drawn at random."""
    bounds = tour.dear(float(tour.link[random.integers(len(tour.link))]))
    # those of the sequence of each anchor, not too far from each other
    width = tour.count + 2
    begins = np.searchsorted(bounds, np.arange(tour.copies + 1) * width)
    own = anchors // width
    firsts, size = begins.take(own), np.diff(begins).take(own)
    some = np.minimum(size, MOST_PIECES)
    firsts += _below(random, size - some + 1)
    draws = firsts + (random.random((k, len(anchors))) * some).astype(np.int64)
    draws.sort(axis=0)
    found: Index = bounds[draws]
    return found


def _reverse(
    tour: Tour, low: Index, high: Index, random: np.random.Generator, warmth: float
) -> None:
    """Turn round those of the stretches [low, high) that gain enough."""
    seq, mirror = tour.seq, tour.mirror
    room = tour.link.take(low - 1) + tour.link.take(high - 1)
    room += _luck(random, warmth, len(low))
    room -= tour.prices(seq.take(low - 1), mirror.take(seq.take(high - 1)))
    made = ((room > 0) & (high - low > 1)).nonzero()[0]
    low, high, room = low[made], high[made], room[made]
    room -= tour.prices(mirror.take(seq.take(low)), seq.take(high))
    if not tour.exact:
        turning = tour.turning()
        room -= turning.take(high - 1) - turning.take(low)
    made = (room > 0).nonzero()[0]
    low, high = low[made], high[made]
    if len(low) and tour.pairs.any:
        free = tour.turnable(low, high)
        low, high = low[free], high[free]
    low, _, high = _apart(low, low, high)
    if len(low):
        tour.turn_round(low, high)


def exchange(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, anchors: Index
) -> None:
    """Exchange two stretches that follow each other: near ends meet on both sides of the first."""
    seq = tour.seq
    count = len(anchors)
    k = near.after.shape[1]
    second = near.after.ravel().take(seq.take(anchors) * k + _skewed(random, count, k))
    # the place behind the last holds no object: the draw is void there
    base = tour.base.take(anchors)
    then = np.minimum(anchors + 1, base + tour.count)
    last = near.before.ravel().take(seq.take(then) * k + _skewed(random, count, k))
    middle = tour.place.take(tour.owner.take(second) + base)
    high = tour.place.take(tour.owner.take(last) + base) + 1
    _exchange(tour, anchors + 1, middle, high, random, warmth)


def exchange_in_reach(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, anchors: Index
) -> None:
    """Exchange two stretches that follow each other: near ends meet in one of the three new
    links, and the third bound is drawn from where the layering lets the stretches change sides.

    Path-preserving 3-exchange (Gambardella and Dorigo 2000). For layering so strict that stretches
    drawn freely may seldom change sides; takes memory of the square of the objects.
    """
    reach, n, count = tour.pairs.reach(tour.place), tour.count, len(anchors)
    luck, free, k = random.random((2, count)), random.random(count), near.after.shape[1]
    near_one = near.after.ravel().take(tour.seq.take(anchors) * k + _skewed(random, count, k))
    then = tour.place.take(tour.owner.take(near_one))
    then = np.where(luck[1] < ANY_PLACE, 1 + (luck[0] * n).astype(np.int64), then)
    # the two meet where the second stretch begins ...
    low, middle = anchors + 1, then
    most = reach[np.minimum(low, middle), middle]
    high = middle + 1 + (free * (most - middle)).astype(np.int64)
    # ... or where the first ends ...
    ends = luck[1] > 1 - FIRST_ENDS
    low = np.where(ends, 1 + (free * anchors).astype(np.int64), low)
    middle, high = np.where(ends, anchors + 1, middle), np.where(ends, then, high)
    # ... or, where the way leads back, between the stretches
    back = then < anchors
    low, high = np.where(back, then, low), np.where(back, anchors + 1, high)
    middle = np.where(back, then + 1 + (free * (anchors - then)).astype(np.int64), middle)
    fit = (low < middle) & (middle < high) & (high <= n + 1)
    low, middle, high = low[fit], middle[fit], high[fit]
    fit = reach[low, middle] >= high
    _exchange(tour, low[fit], middle[fit], high[fit], random, warmth)


def exchange_runs(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, anchors: Index
) -> None:
    """Exchange colour runs, or several in one piece, that follow each other."""
    del near
    bounds = tour.bounds()
    last = len(bounds) - 1
    if last < 2:
        return
    count = min(len(anchors), DRAWS_A_RUN * last)
    run = random.integers(0, last - 1, count)
    middle = run + random.integers(1, MOST_RUNS + 1, count)
    high = middle + random.integers(1, MOST_RUNS + 1, count)
    inside = high <= last
    low, middle, high = bounds[run[inside]], bounds[middle[inside]], bounds[high[inside]]
    inside = tour.base[low] == tour.base[high]
    _exchange(tour, low[inside], middle[inside], high[inside], random, warmth)


def _exchange(
    tour: Tour,
    low: Index,
    middle: Index,
    high: Index,
    random: np.random.Generator,
    warmth: float,
) -> None:
    """Exchange those of the stretches [low, middle) and [middle, high) that gain enough."""
    seq, link = tour.seq, tour.link
    right = ((middle > low) & (high > middle)).nonzero()[0]
    low, middle, high = low[right], middle[right], high[right]
    room = link.take(low - 1) + link.take(middle - 1) + link.take(high - 1)
    room += _luck(random, warmth, len(low))
    room -= tour.prices(seq.take(low - 1), seq.take(middle))
    made = (room > 0).nonzero()[0]
    low, middle, high, room = low[made], middle[made], high[made], room[made]
    room -= tour.prices(seq.take(middle - 1), seq.take(high))
    room -= tour.prices(seq.take(high - 1), seq.take(low))
    made = (room > 0).nonzero()[0]
    low, middle, high = low[made], middle[made], high[made]
    if len(low) and tour.pairs.any:
        free = tour.pairs.swappable(tour.place, low, middle, high)
        low, middle, high = low[free], middle[free], high[free]
    low, middle, high = _apart(low, middle, high)
    if len(low):
        tour.exchange(low, middle, high)


def _draw(
    tour: Tour, near: Near, random: np.random.Generator, anchors: Index
) -> tuple[Index, bool]:
    """A node near each of the anchors, and whether it is to follow the anchor."""
    lots = random.random(2)
    behind = bool(lots[0] < 0.5)
    if lots[1] < ANY_NEARBY:
        step = random.integers(-WINDOW, WINDOW + 1, len(anchors))
        base = tour.base.take(anchors)
        return tour.seq.take(np.clip(anchors + step, base + 1, base + tour.count)), behind
    table = near.after if behind else near.before
    k = table.shape[1]
    return table.ravel().take(tour.seq.take(anchors) * k + _skewed(random, len(anchors), k)), behind


def _skewed(random: np.random.Generator, count: int, k: int) -> Index:
    """Numbers below k, small ones more often: near ends are worth more tries."""
    lots = random.random(count)
    lots *= lots
    lots *= k
    return lots.astype(np.int64)


def _below(random: np.random.Generator, most: Index) -> Index:
    """A number below each of `most` (0 where that is 0)."""
    lots = random.random(len(most))
    lots *= most
    return lots.astype(np.int64)


def _luck(random: np.random.Generator, warmth: float, count: int) -> FloatArray:
    """How much more each change may cost."""
    luck: FloatArray = random.standard_exponential(count)
    luck *= warmth
    return luck


def _apart(low: Index, middle: Index, high: Index) -> tuple[Index, Index, Index]:
    """Those of the stretches [low, high) that touch no other, chosen by where they end."""
    kept, free = [], 0
    lows = low.tolist()
    for i in np.argsort(high, kind="stable").tolist():
        if lows[i] > free:
            kept.append(i)
            free = int(high[i])
    return low[kept], middle[kept], high[kept]


def _clear(links: Index, tour: Tour, random: np.random.Generator) -> Index:
    """The numbers of the changes (rows: the places whose links they touch) that touch none of
    those before them, in an order drawn at random."""
    order = random.permutation(len(links))
    links, rank = links[order], np.arange(len(links))
    # of several that claim a link, the last to be written down has it
    claim = np.empty(len(tour.seq), np.int64)
    claim[links.ravel()] = np.repeat(rank, links.shape[1])
    clear = np.logical_and.reduce(claim[links] == rank[:, None], axis=1)
    found: Index = order[clear]
    return found

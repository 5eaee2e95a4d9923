"""Changes to the sequence, drawn and judged in batches.

One call draws many changes of one sort at random, each of which makes two near ends meet, prices
all of them at once, and makes those that gain enough, do not touch each other and keep the
precedence. ``warmth``: a change that costs w more is made with chance exp(-w / warmth).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from restitch.model import FloatArray
from restitch.sequence.solver.neighbours import Near
from restitch.sequence.solver.nodes import Index
from restitch.sequence.solver.tour import Tour

Move = Callable[[Tour, Near, np.random.Generator, float, int], None]
"""``move(tour, near, random, warmth, count)`` draws `count` changes."""

OWN_PLACE = 0.15
"""Share of insertions that change the option of an object where it is (by trial)."""

ANY_NEARBY = 0.2
"""Share of changes whose partner is not a near one of its colour but any of those sewn at about
the same time: where a colour ends and the next begins no near ones meet (by trial)."""

WINDOW = 15
"""Places to either side that count as about the same time (by trial)."""

MOST_RUNS = 4
"""Colour runs moved in one piece at the most (our choice)."""

ANY_PLACE = 0.1
"""Share of exchanges in reach that make no near ends meet (by trial on TSPLIB) ..."""

FIRST_ENDS = 0.4
"""... and of those where they meet at the end of the first stretch."""

LONGEST_SEGMENT = 3
"""Objects moved in one piece at the most; longer stretches are exchanged."""


def insert(tour: Tour, near: Near, random: np.random.Generator, warmth: float, count: int) -> None:
    """Move single objects, by any of their options, next to near ones."""
    anchor, node, behind = _draw(tour, near, random, count)
    seq, link, prices = tour.seq, tour.link, tour.prices
    luck = random.random((3, count))
    stays = luck[0] < OWN_PLACE
    x = np.where(stays, tour.objects(anchor), tour.owner[node])
    any_option = tour.first[x] + (luck[1] * tour.size[x]).astype(np.int64)
    # half the time another option than the one that makes the ends meet: they may share an entry
    node = np.where(stays | (luck[2] < 0.5), any_option, node)
    at = tour.place[x]
    gap = anchor + behind
    stays = (gap == at) | (gap == at + 1)
    gap = np.where(stays, at, gap)
    left, right = seq[gap - 1], np.where(stays, seq[at + 1], seq[gap])
    price = prices(
        np.concatenate([left, node, seq[at - 1]]), np.concatenate([node, right, seq[at + 1]])
    ).reshape(3, count)
    gain = link[at - 1] + link[at] - price[0] - price[1]
    gain += np.where(stays, 0.0, link[gap - 1] - price[2])
    made = _accepted(gain, warmth, random) & (node != seq[at])
    at, gap, x, node = (v[made] for v in (at, gap, x, node))
    if len(at) and tour.pairs.any:
        latest, earliest = tour.limits()
        free = (gap == at) | np.where(gap > at, latest[x] >= gap, earliest[x] < gap)
        at, gap, node = at[free], gap[free], node[free]
    kept = _clear(np.stack([at - 1, at, gap - 1], axis=1), tour.count)
    tour.shift(at[kept], gap[kept], node[kept, None])


def move_segment(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, count: int
) -> None:
    """Move two or three objects in one piece, turned round or not, next to a near one."""
    length = int(random.integers(2, LONGEST_SEGMENT + 1))
    turned = bool(random.random() < 0.5)
    anchor, node, behind = _draw(tour, near, random, count)
    seq, link, n = tour.seq, tour.link, tour.count
    at = tour.place[tour.owner[node]] - (length - 1) * (behind == turned)
    gap = anchor + behind
    inside = (at >= 1) & (at + length <= n + 1) & ((gap < at) | (gap > at + length))
    at, gap = at[inside], gap[inside]
    head, tail, then = seq[at], seq[at + length - 1], seq[at + length]
    if turned:
        head, tail = tour.mirror[tail], tour.mirror[head]
    price = tour.prices(
        np.concatenate([seq[gap - 1], tail, seq[at - 1]]), np.concatenate([head, seq[gap], then])
    ).reshape(3, len(at))
    gain = link[at - 1] + link[at + length - 1] + link[gap - 1] - price.sum(axis=0)
    if turned and not tour.exact:
        turning = tour.turning()
        gain -= turning[at + length - 1] - turning[at]
    made = _accepted(gain, warmth, random)
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
    kept = _clear(np.column_stack([at - 1, span, gap - 1]), n)
    nodes = seq[span[kept]]
    tour.shift(at[kept], gap[kept], tour.mirror[nodes[:, ::-1]] if turned else nodes)


def reverse(tour: Tour, near: Near, random: np.random.Generator, warmth: float, count: int) -> None:
    """Turn stretches round so that two near ends meet."""
    anchor, node, behind = _draw(tour, near, random, count)
    other = tour.place[tour.owner[node]]
    low, high = np.minimum(anchor, other) + behind, np.maximum(anchor, other) + behind
    _reverse(tour, low, high, random, warmth)


def reverse_runs(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, count: int
) -> None:
    """Turn round whole colour runs, and stretches at the ends of runs."""
    bounds = tour.bounds()
    run = random.integers(0, len(bounds) - 1, count)
    other = np.clip(run + random.integers(1, MOST_RUNS + 1, count), 0, len(bounds) - 1)
    low, high = bounds[run], bounds[other]
    # a third each: both ends at bounds, the first only, the last only
    luck, inside = random.random((2, count))
    any_place = low + (inside * (high - low)).astype(np.int64)
    low = np.where(luck < 1 / 3, any_place, low)
    high = np.where(luck > 2 / 3, any_place, high)
    _reverse(tour, low, high, random, warmth)


def _reverse(
    tour: Tour, low: Index, high: Index, random: np.random.Generator, warmth: float
) -> None:
    """Turn round those of the stretches [low, high) that gain enough."""
    seq, link, mirror = tour.seq, tour.link, tour.mirror
    free = high - low > 1
    if tour.pairs.any:
        latest = tour.limits()[0][tour.owner[seq]]
        free &= np.minimum.accumulate(latest[::-1])[::-1][low] >= high
    low, high = low[free], high[free]
    price = tour.prices(
        np.concatenate([seq[low - 1], mirror[seq[low]]]),
        np.concatenate([mirror[seq[high - 1]], seq[high]]),
    ).reshape(2, len(low))
    gain = link[low - 1] + link[high - 1] - price.sum(axis=0)
    if not tour.exact:
        turning = tour.turning()
        gain -= turning[high - 1] - turning[low]
    made = _accepted(gain, warmth, random)
    taken = np.zeros(tour.count + 2, np.bool_)
    for a, b in zip(low[made].tolist(), high[made].tolist(), strict=True):
        if not taken[a - 1 : b].any():
            taken[a - 1 : b] = True
            tour.rewrite(a, mirror[seq[a:b][::-1]])


def exchange(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, count: int
) -> None:
    """Exchange two stretches that follow each other: near ends meet on both sides of the first."""
    if tour.count < 3:
        return
    seq = tour.seq
    before = random.integers(1, tour.count - 1, count)
    luck = random.random((2, count))
    k = near.after.shape[1]
    second = near.after[seq[before], _skewed(luck[0], k)]
    last = near.before[seq[before + 1], _skewed(luck[1], k)]
    middle = tour.place[tour.owner[second]]
    high = tour.place[tour.owner[last]] + 1
    _exchange(tour, before + 1, middle, high, random, warmth)


def exchange_in_reach(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, count: int
) -> None:
    """Exchange two stretches that follow each other: near ends meet in one of the three new
    links, and the third bound is drawn from where the layering lets the stretches change sides.

    Path-preserving 3-exchange (Gambardella and Dorigo 2000). For layering so strict that stretches
    drawn freely may seldom change sides; takes memory of the square of the objects.
    """
    if tour.count < 3:
        return
    reach, n = tour.pairs.reach(tour.place), tour.count
    anchor = random.integers(1, n + 1, count)
    luck, free = random.random((2, count)), random.random(count)
    near_one = near.after[tour.seq[anchor], _skewed(luck[0], near.after.shape[1])]
    then = tour.place[tour.owner[near_one]]
    then = np.where(luck[1] < ANY_PLACE, 1 + (luck[0] * n).astype(np.int64), then)
    # the two meet where the second stretch begins ...
    low, middle = anchor + 1, then
    most = reach[np.minimum(low, middle), middle]
    high = middle + 1 + (free * (most - middle)).astype(np.int64)
    # ... or where the first ends ...
    ends = luck[1] > 1 - FIRST_ENDS
    low = np.where(ends, 1 + (free * anchor).astype(np.int64), low)
    middle, high = np.where(ends, anchor + 1, middle), np.where(ends, then, high)
    # ... or, where the way leads back, between the stretches
    back = then < anchor
    low, high = np.where(back, then, low), np.where(back, anchor + 1, high)
    middle = np.where(back, then + 1 + (free * (anchor - then)).astype(np.int64), middle)
    fit = (low < middle) & (middle < high) & (high <= n + 1)
    low, middle, high = low[fit], middle[fit], high[fit]
    fit = reach[low, middle] >= high
    _exchange(tour, low[fit], middle[fit], high[fit], random, warmth)


def exchange_runs(
    tour: Tour, near: Near, random: np.random.Generator, warmth: float, count: int
) -> None:
    """Exchange colour runs, or several in one piece, that follow each other."""
    bounds = tour.bounds()
    last = len(bounds) - 1
    if last < 2:
        return
    run = random.integers(0, last - 1, count)
    middle = run + random.integers(1, MOST_RUNS + 1, count)
    high = middle + random.integers(1, MOST_RUNS + 1, count)
    inside = high <= last
    run, middle, high = run[inside], middle[inside], high[inside]
    _exchange(tour, bounds[run], bounds[middle], bounds[high], random, warmth)


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
    right = (middle > low) & (high > middle)
    low, middle, high = low[right], middle[right], high[right]
    price = tour.prices(
        np.concatenate([seq[low - 1], seq[high - 1], seq[middle - 1]]),
        np.concatenate([seq[middle], seq[low], seq[high]]),
    ).reshape(3, len(low))
    gain = link[low - 1] + link[middle - 1] + link[high - 1] - price.sum(axis=0)
    made = _accepted(gain, warmth, random)
    taken = np.zeros(tour.count + 2, np.bool_)
    for a, m, b in zip(low[made].tolist(), middle[made].tolist(), high[made].tolist(), strict=True):
        if not taken[a - 1 : b].any() and tour.pairs.may_swap(tour.place, a, m, b):
            taken[a - 1 : b] = True
            tour.rewrite(a, np.concatenate([seq[m:b], seq[a:m]]))


def _draw(
    tour: Tour, near: Near, random: np.random.Generator, count: int
) -> tuple[Index, Index, bool]:
    """Places of anchors, a node near each, and whether it is to follow the anchor."""
    behind = bool(random.random() < 0.5)
    table = near.after if behind else near.before
    anchor = random.integers(1, tour.count + 1, count)
    node = table[tour.seq[anchor], _skewed(random.random(count), table.shape[1])]
    some = int(ANY_NEARBY * count)
    step = random.integers(-WINDOW, WINDOW + 1, some)
    node[:some] = tour.seq[np.clip(anchor[:some] + step, 1, tour.count)]
    return anchor, node, behind


def _skewed(luck: FloatArray, k: int) -> Index:
    """Numbers below k, small ones more often: near ends are worth more tries."""
    return (luck * luck * k).astype(np.int64)


def _accepted(gain: FloatArray, warmth: float, random: np.random.Generator) -> np.ndarray:
    chance = 1.0 - random.random(len(gain))
    return gain > warmth * np.log(chance)


def _clear(links: Index, count: int) -> np.ndarray:
    """Which changes (rows: the places whose links they touch) are the first to touch all theirs."""
    rank = np.arange(len(links))
    claim = np.empty(count + 1, np.int64)
    claim[links[::-1].ravel()] = np.repeat(rank[::-1], links.shape[1])
    clear: np.ndarray = (claim[links] == rank[:, None]).all(axis=1)
    return clear

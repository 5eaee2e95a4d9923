"""Joins that cost more than they need: far ends, scattered order, colours taken up again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from restitch.geometry.overlap import Pair
from restitch.model import UNITS_PER_MM, FloatArray, IntArray, Kind, Link, PlannedObject, Role


@dataclass(frozen=True, slots=True)
class JoinRules:
    """When joins are far. Our choice, measured: in well-digitized designs turning objects round
    saves up to 0.24 of the jump price, where far ends were joined on purpose 0.2 to 0.5."""

    save: float = 0.30
    """Far joins: turning objects round in their order saves this share of the jump price."""
    scattered: float = 1.8
    """Scattered order: the way from object to object of one thread is this many times the way to
    the nearest one each time. In well-digitized designs up to 1.43 (1.6 in free-standing lace),
    in scrambled ones 1.6 to 6."""
    jump_mm: float = 4.0
    """Price of a jump beside its length, as jump travel: ties on both sides."""
    same_end_mm: float = 1.0
    """Price of leaving by the end that one came in by: a run under the cover."""
    moved_mm: float = 0.5
    """Moves up to this are no jump (writers round positions)."""


@dataclass(frozen=True, slots=True)
class FarJoins:
    """What near ends would save."""

    jump_mm: float
    """Jump travel as it is."""
    near_mm: float
    """Jump travel with the nearest ends, in the same order."""
    share: float
    """Share of the jump price that would be saved."""
    worst: int
    """Place in the plan of the object that is reached by the way with most to save."""


def far_joins(plan: Sequence[PlannedObject], rules: JoinRules | None = None) -> FarJoins | None:
    """Return what near ends would save in the present order; None without jumps.

    Columns and lines may be sewn from either end, or leave by the end they came in by; the ends
    of fills stay. The choice is the shortest path through the layers of ends.
    """
    rules = rules or JoinRules()
    ways = [_ways(o, rules) for o in plan if o.pieces]
    places = [i for i, o in enumerate(plan) if o.pieces]
    joined = [plan[i].pieces[0].link is Link.SEWN for i in places]
    now, near, gain = 0.0, np.zeros(len(ways[0][2]) if ways else 0), []
    lengths: list[FloatArray] = []
    back: list[IntArray] = []
    for at in range(1, len(ways)):
        length = _lengths(ways[at - 1][1], ways[at][0])
        price = np.where(length > rules.moved_mm, length + rules.jump_mm, 0.0)
        if joined[at]:
            price[0, 0] = 0.0
        now += float(price[0, 0])
        gain.append(float(price[0, 0] - price.min()))
        total = near[:, None] + price
        back.append(total.argmin(axis=0).astype(np.int32))
        near = total.min(axis=0) + ways[at][2]
        lengths.append(np.where(price > 0, length, 0.0))
    if now <= 0:
        return None
    path = [int(near.argmin())]
    for step in reversed(back):
        path.append(int(step[path[-1]]))
    path.reverse()
    return FarJoins(
        jump_mm=float(sum(x[0, 0] for x in lengths)),
        near_mm=float(sum(x[path[i], path[i + 1]] for i, x in enumerate(lengths))),
        share=1.0 - float(near.min()) / now,
        worst=places[1 + int(np.argmax(gain))],
    )


def scatter(plan: Sequence[PlannedObject]) -> float:
    """Return how many times longer the way through each thread's objects is than it need be.

    The way goes from middle to middle in sewing order; it is compared with the way that takes the
    nearest object left each time. 1.0 where no thread has three objects.
    """
    plan = [o for o in plan if o.pieces]
    thread = np.array([o.thread for o in plan], dtype=int)
    if not len(thread):
        return 1.0
    bounds = [(p.min(axis=0), p.max(axis=0)) for p in (o.points() for o in plan)]
    middle = np.array([low + high for low, high in bounds]) / (2.0 * UNITS_PER_MM)
    way = nearest = 0.0
    for one in np.unique(thread):
        spots = middle[thread == one]
        if len(spots) >= 3:
            way += float(np.hypot(*np.diff(spots, axis=0).T).sum())
            nearest += _nearest_way(spots)
    return way / nearest if nearest > 0 else 1.0


def _nearest_way(spots_mm: FloatArray) -> float:
    """Length of the way that begins at the first spot and takes the nearest one left."""
    left = np.ones(len(spots_mm), bool)
    left[0] = False
    here, total = spots_mm[0], 0.0
    for _ in range(len(spots_mm) - 1):
        away = np.where(left, np.hypot(*(spots_mm - here).T), np.inf)
        at = int(away.argmin())
        here, total = spots_mm[at], total + float(away[at])
        left[at] = False
    return total


def needless_blocks(plan: Sequence[PlannedObject], overlaps: Sequence[Pair]) -> tuple[int, ...]:
    """Return the places in the plan where a thread is taken up again without need.

    The block that begins there could be sewn together with the block of its thread before: nothing
    between them lies under or over it. ``overlaps``: pairs of places that must keep their order.
    """
    thread = [o.thread for o in plan]
    starts = [i for i in range(len(plan)) if i == 0 or thread[i] != thread[i - 1]]
    bounds = list(zip(starts, [*starts[1:], len(plan)], strict=True))
    block_of = np.repeat(np.arange(len(bounds)), [b - a for a, b in bounds])
    meets = {
        (int(block_of[i]), int(block_of[j])) for i, j in overlaps if block_of[i] != block_of[j]
    }
    found = []
    last: dict[int, int] = {}
    for block, (start, _) in enumerate(bounds):
        before = last.get(thread[start])
        if before is not None:
            between = range(before + 1, block)
            up = not any((k, block) in meets for k in between)
            down = not any((before, k) in meets for k in between)
            if up or down:
                found.append(start)
        last[thread[start]] = block
    return tuple(found)


def _ways(obj: PlannedObject, rules: JoinRules) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Entries and exits (k, 2) in mm and the price (k,) of each way to sew an object."""
    solid = [p for p in obj.pieces if p.role in (Role.TOP, Role.UNDERLAY)] or list(obj.pieces)
    begin, end = solid[0].xy[0] / UNITS_PER_MM, solid[-1].xy[-1] / UNITS_PER_MM
    held = obj.kind is Kind.FILL or any(p.link is not Link.SEWN for p in solid[1:])
    if held:
        return begin[None], end[None], np.zeros(1)
    pairs = [(begin, end), (end, begin), (begin, begin), (end, end)]
    price = np.array([0.0, 0.0, rules.same_end_mm, rules.same_end_mm])
    return np.array([a for a, _ in pairs]), np.array([b for _, b in pairs]), price


def _lengths(exits_mm: FloatArray, entries_mm: FloatArray) -> FloatArray:
    gap = entries_mm[None] - exits_mm[:, None]
    return np.hypot(gap[..., 0], gap[..., 1])

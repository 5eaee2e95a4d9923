"""Joins that cost more than they need: far ends, scattered order, colours taken up again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from restitch.geometry.overlap import Pair
from restitch.geometry.small import distinct, lengths_mm
from restitch.model import UNITS_PER_MM, FloatArray, Link, PlannedObject, Role


class JoinRules(NamedTuple):
    """When joins are far. Our choice, measured on invented designs, well digitized and broken."""

    far: float = 0.55
    """Far joins: on average objects are entered this far from their nearest spot (0) towards
    their farthest (1). In well-digitized designs 0.04 to 0.30, with far joins 0.71 to 1.0."""
    reach_mm: float = 3.0
    """Objects whose spots differ by less in their distance tell nothing."""
    objects: int = 4
    """Fewer objects that tell something are no evidence."""
    scattered: float = 1.8
    """Scattered order: the way from object to object of one thread is this many times the way to
    the nearest one each time. In well-digitized designs up to 1.43 (1.6 in free-standing lace),
    in scrambled ones 1.6 to 6."""


class Joins(NamedTuple):
    """How the objects that are jumped to are entered."""

    far: float
    """0 where all are entered at their nearest spot, 1 where all at their farthest."""
    way_mm: float
    """Way to the entries."""
    near_mm: float
    """Way to the nearest spots."""
    worst: int
    """Place in the plan of the object with the longest way too much."""


def joins(plan: Sequence[PlannedObject], rules: JoinRules | None = None) -> Joins | None:
    """Return how objects are entered, or None where too few tell anything."""
    rules = rules or JoinRules()
    rows = []
    here: FloatArray | None = None
    for place, obj in enumerate(plan):
        if not obj.pieces:
            continue
        if here is not None and obj.pieces[0].link is not Link.SEWN:
            spots = obj.points(Role.TOP, Role.UNDERLAY)
            away = np.hypot(*((spots if len(spots) else obj.points()) - here).T)
            entry = float(np.hypot(*(obj.pieces[0].xy[0] - here)))
            rows.append((place, entry, float(away.min()), float(away.max())))
        here = _exit(obj)
    if not rows:
        return None
    table = np.array(rows)
    entry, near, farthest = table[:, 1:].T / UNITS_PER_MM
    tells = farthest - near > rules.reach_mm
    if tells.sum() < rules.objects:
        return None
    share = (entry - near)[tells] / (farthest - near)[tells]
    return Joins(
        far=float(share.mean()),
        way_mm=float(entry.sum()),
        near_mm=float(near.sum()),
        worst=int(table[np.argmax(entry - near), 0]),
    )


def _exit(obj: PlannedObject) -> FloatArray:
    """Where the object's own stitching ends, ties and travel left out, 0.1 mm."""
    solid = [p for p in obj.pieces if p.role in (Role.TOP, Role.UNDERLAY)] or list(obj.pieces)
    end: FloatArray = solid[-1].xy[-1].astype(np.float64)
    return end


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
    for one in distinct(thread):
        spots = middle[thread == one]
        if len(spots) >= 3:
            way += float(lengths_mm(spots).sum())
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

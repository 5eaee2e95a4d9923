"""What the guard looks at besides lost and won pixels: openings, place, thin cover, stack."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from numpy.typing import ArrayLike

from restitch.look import bits
from restitch.look.bits import Plane
from restitch.look.compare import core_of
from restitch.look.cover import mark_squares, no_squares, threads_passing
from restitch.look.difference import PIXEL_MM2
from restitch.look.laid import NOT_JUDGED
from restitch.look.limits import GuardLimits
from restitch.look.picture import BARE, Picture
from restitch.look.spots import ground_spots
from restitch.look.stack import StackMap

EDGE = 3
"""Pixels around exchanged pixels that are excepted with them (the closing's reach)."""

_CHARGED = 0.2
"""Share of a filled opening that makes an object answer for it (our choice)."""


def exchanged(before: Picture, after: Picture, swapped: ArrayLike) -> Plane | None:
    """Return where one object of (k, 2) pairs shows instead of the other, None without pairs."""
    pairs = np.asarray(swapped, dtype=np.int64).reshape(-1, 2)
    if not len(pairs):
        return None
    first, second = (np.append(NOT_JUDGED, p.thread.owner_of_slot) for p in (before, after))
    # few pixels change hands at all, and mostly both pictures number their slots alike
    slots = before.slots.reshape(-1), after.slots.reshape(-1)
    if np.array_equal(first, second):
        at = np.flatnonzero(slots[0] != slots[1])
    else:
        at = np.flatnonzero(first[slots[0]] != second[slots[1]])
    first, second = (t[s[at]].astype(np.int64) for t, s in zip((first, second), slots, strict=True))
    both = (first != NOT_JUDGED) & (second != NOT_JUDGED)
    at, first, second = at[both], first[both], second[both]
    high = int(max(pairs.max(), second.max(initial=0))) + 1
    swaps = np.concatenate([pairs, pairs[:, ::-1]])
    traded = np.zeros(before.slots.size, dtype=np.bool_)
    traded[at[np.isin(first * high + second, swaps[:, 0] * high + swaps[:, 1])]] = True
    return bits.dilate(bits.pack(traded.reshape(before.frame.shape)), EDGE)


def closed_spots(
    before: Picture, after: Picture, excepted: Plane | None, limits: GuardLimits
) -> dict[int, int]:
    """Return how many ground spots each object has closed: those that stay bare by less than half
    are charged to every object that shows on a fifth of what was filled."""
    spots = ground_spots(before, round(limits.spot_mm2 / PIXEL_MM2), limits.spot_core)
    pixels, spot = spots.pixels, spots.spot
    if excepted is not None:
        free = ~bits.test(excepted, pixels)
        pixels, spot = pixels[free], spot[free]
    bare = after.classes.reshape(-1)[pixels] == BARE
    size = np.maximum(np.bincount(spot, minlength=spots.count), 1)
    kept = np.bincount(spot, bare, minlength=spots.count) / size
    lost = (kept < limits.spot_kept) & (np.bincount(spot, minlength=spots.count) > 0)
    closed: dict[int, int] = {}
    filled = lost[spot] & ~bare
    owner_of = np.append(NOT_JUDGED, after.thread.owner_of_slot)
    owner = owner_of[after.slots.reshape(-1)[pixels[filled]]]
    pairs, count = np.unique(np.stack([spot[filled], owner]), axis=1, return_counts=True)
    of_spot = np.bincount(spot[filled], minlength=spots.count)
    for (number, name), share in zip(pairs.T.tolist(), count.tolist(), strict=True):
        if name != NOT_JUDGED and share >= of_spot[number] * _CHARGED:
            closed[name] = closed.get(name, 0) + 1
    return closed


def moved_mm(
    before: Picture, after: Picture, names: Collection[int], limits: GuardLimits
) -> dict[int, float]:
    """Return how far each object's visible centroid moved, where its area stayed about the same
    (else a neighbour hid or uncovered part of it, which is no movement). Nothing is measured where
    there is no limit."""
    moved: dict[int, float] = {}
    if limits.moved_mm == np.inf:
        return moved
    for name in sorted(names):
        was, now = _centroid(before, name), _centroid(after, name)
        if was[0] * PIXEL_MM2 < limits.moved_from_mm2:
            continue
        if abs(now[0] - was[0]) <= limits.same_area * was[0]:
            moved[name] = float(np.hypot(now[1] - was[1], now[2] - was[2])) / 10
    return moved


def _centroid(picture: Picture, name: int) -> tuple[int, float, float]:
    """Return (pixels, column, row) of an object's visible area."""
    pixels, column, row = 0, 0.0, 0.0
    for slot in picture.slots_of(name):
        rows, columns = window = picture.window_of(slot)
        mask = picture.slots[window] == slot + 1
        per_row, per_column = mask.sum(axis=1), mask.sum(axis=0)
        here = int(per_row.sum())
        pixels += here
        row += float(per_row @ np.arange(len(per_row))) + here * rows.start
        column += float(per_column @ np.arange(len(per_column))) + here * columns.start
    return (pixels, column / pixels, row / pixels) if pixels else (0, 0.0, 0.0)


def thinner(
    before: Picture,
    after: Picture,
    names: Collection[int],
    excepted: Plane | None,
    limits: GuardLimits,
) -> dict[int, float]:
    """Return for each object how far the cover of its core falls below what it was, or below
    what a sound object has where it was denser; the worse of the two thread widths."""
    cores = []
    near = no_squares((before, after))
    for name in sorted(names):
        for slot in before.slots_of(name):
            window, core = core_of(before, slot, limits.compare)
            if core is None:
                continue
            if excepted is not None:
                core = core & ~bits.crop(excepted, window)
            size = bits.count(core)
            if size < limits.compare.core_pixels:
                continue
            number = int(before.thread.class_of_slot[slot])
            cores.append((name, window, size, core, core & after.class_plane(number, window)))
            mark_squares(near, number, window)
    passing = (
        [bits.pack(mask) for mask in threads_passing(picture, limits.thin_threads, near)]
        for picture in (before, after)
    )
    found: dict[int, float] = {}
    for was, now, floor in zip(*passing, limits.thin_floors, strict=True):
        for name, window, size, core, own in cores:
            had = bits.count(bits.crop(was, window) & core) / size
            has = bits.count(bits.crop(now, window) & own) / size
            found[name] = max(found.get(name, 0.0), min(had, floor) - has)
    return found


def peak_layers(
    before: Picture,
    after: Picture,
    stacks: tuple[StackMap, StackMap] | None,
    names: Collection[int],
) -> dict[int, tuple[float, float]]:
    """Return peak layers before and after over each object that shows in both pictures."""
    if stacks is None:
        return {}
    was, now = stacks[0].by_object(before), stacks[1].by_object(after)
    return {name: (was[name][1], now[name][1]) for name in names if name in was and name in now}

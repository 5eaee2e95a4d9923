"""Where a colour is gone, and where it came anew: the pixels, and the objects that answer."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from restitch.look import bits
from restitch.look.bits import Indices, Plane
from restitch.look.compare import CompareSettings, class_window, colour_classes
from restitch.look.frame import WORD, Frame, Window
from restitch.look.laid import NOT_JUDGED
from restitch.look.limits import GuardLimits
from restitch.look.picture import Picture

PIXEL_MM2 = 0.01
"""Area of a pixel."""


class Pixels(NamedTuple):
    """Pixels and the objects that answer for them."""

    flat: Indices
    owner: NDArray[np.int32]

    def by_owner(self) -> dict[int, Indices]:
        """Return the pixels of each judged object."""
        order = np.argsort(self.owner, kind="stable")
        names, first = np.unique(self.owner[order], return_index=True)
        flat, stop = self.flat[order], np.append(first, len(order))
        return {
            int(name): flat[stop[k] : stop[k + 1]]
            for k, name in enumerate(names)
            if name != NOT_JUDGED
        }


def lost_and_won(
    before: Picture, after: Picture, excepted: Plane | None, tolerance: int
) -> tuple[Pixels, Pixels]:
    """Return the pixels whose colour is gone (by the object that showed) and come anew (by the
    object that shows)."""
    found: tuple[list[Pixels], list[Pixels]] = ([], [])
    columns = before.frame.width
    for number, window, *sides in _gone(before, after, excepted, tolerance):
        for picture, gone, pixels in zip((before, after), sides, found, strict=True):
            row, column = np.divmod(bits.where(gone), window[1].stop - window[1].start)
            flat = (row + window[0].start) * columns + column + window[1].start
            pixels.append(Pixels(flat, _owner_at(picture, flat, number)))
    lost, won = (
        Pixels(
            np.concatenate([p.flat for p in part]) if part else np.zeros(0, np.intp),
            np.concatenate([p.owner for p in part]) if part else np.zeros(0, np.int32),
        )
        for part in found
    )
    return lost, won


def _gone(
    before: Picture, after: Picture, excepted: Plane | None, tolerance: int
) -> Iterator[tuple[int, Window, Plane, Plane]]:
    """Yield for each colour class its window and where in it either picture shows the colour and
    the other does not: before alone, after alone."""
    for number in colour_classes(before, after):
        window = class_window(number, tolerance, before, after)
        was, now = before.class_plane(number, window), after.class_plane(number, window)
        lost, won = was & ~bits.dilate(now, tolerance), now & ~bits.dilate(was, tolerance)
        if excepted is not None:
            free = ~bits.crop(excepted, window)
            lost, won = lost & free, won & free
        yield number, window, lost, won


_RING = sorted(
    ((y, x) for y in range(-3, 4) for x in range(-3, 4)), key=lambda p: p[0] ** 2 + p[1] ** 2
)
"""Steps to the pixels a closing of 3 may have filled from, nearest first."""


def kept_share(before: Picture, after: Picture, excepted: Plane | None) -> float:
    """Return 0..1: pixels of both pictures whose colour the other shows within the tolerance;
    what is excepted counts as kept."""
    changed = sum(
        bits.count(lost) + bits.count(won)
        for _, _, lost, won in _gone(before, after, excepted, CompareSettings().tolerance)
    )
    covered = sum(int(np.count_nonzero(picture.classes)) for picture in (before, after))
    return 1.0 - changed / max(covered, 1)


def _owner_at(picture: Picture, flat: Indices, number: int) -> NDArray[np.int32]:
    """Return the object that shows a colour at pixels: its own thread's, or where the closing
    filled the pixel, the nearest thread's of that colour."""
    owner_of = np.append(NOT_JUDGED, picture.thread.owner_of_slot).astype(np.int32)
    class_of = np.append(-1, picture.thread.class_of_slot)
    slots = picture.slots.reshape(-1)
    owner = np.full(len(flat), NOT_JUDGED, dtype=np.int32)
    left = np.arange(len(flat))
    for row, column in _RING:
        at = np.clip(flat[left] + row * picture.frame.width + column, 0, len(slots) - 1)
        hit = class_of[slots[at]] == number
        owner[left[hit]] = owner_of[slots[at[hit]]]
        left = left[~hit]
        if not len(left):
            break
    return owner


def fullest_square(pixels: Indices | None, frame: Frame, limits: GuardLimits) -> float:
    """Return the largest area of the pixels in any 1 mm square, mm2."""
    if pixels is None or not len(pixels):
        return 0.0
    if len(pixels) * PIXEL_MM2 < limits.square_mm2:
        return len(pixels) * PIXEL_MM2
    row, column = np.divmod(pixels, frame.width)
    row, column = row - row.min(), column - column.min()
    size = limits.square
    grid = np.zeros((int(row.max()) + size + 1, int(column.max()) + size + 1), dtype=np.int32)
    grid[row + 1, column + 1] = 1
    total = grid.cumsum(axis=0).cumsum(axis=1)
    padded = np.pad(total, ((0, size), (0, size)), mode="edge")
    box = padded[size:, size:] - padded[:-size, size:] - padded[size:, :-size]
    return float((box + padded[:-size, :-size]).max()) * PIXEL_MM2


def won_square(
    before: Picture,
    after: Picture,
    name: int,
    won: Indices | None,
    pull_mm: float,
    limits: GuardLimits,
) -> float:
    """As `fullest_square`, less what the declared pull explains."""
    full = fullest_square(won, after.frame, limits)
    if won is None or pull_mm <= 0 or full < limits.square_mm2:
        return full
    reach = limits.compare.tolerance + int(np.ceil(pull_mm * 10))
    for slot in after.slots_of(name):
        window = after.window_of(slot, reach)
        plane = before.class_plane(int(after.thread.class_of_slot[slot]), window)
        row, column = np.divmod(won, after.frame.width)
        row, column = row - window[0].start, column - window[1].start
        inside = (row >= 0) & (column >= 0) & (row < plane.shape[0])
        inside &= column < plane.shape[1] * WORD
        known = np.zeros(len(won), dtype=np.bool_)
        grown = bits.dilate(plane, reach)
        known[inside] = bits.test(grown, row[inside] * plane.shape[1] * WORD + column[inside])
        won = won[~known]
    return fullest_square(won, after.frame, limits)

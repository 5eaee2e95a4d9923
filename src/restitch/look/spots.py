"""Ground spots: bare cloth closed in by stitching, such as the counter of a letter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from restitch.look import bits
from restitch.look.bits import Indices, Plane
from restitch.look.picture import BARE, Picture


@dataclass(frozen=True, slots=True, eq=False)
class Spots:
    """The ground spots of a picture."""

    pixels: Indices
    """(p,) flat pixel indices of the spots' cores."""
    spot: Indices
    """(p,) spot of each pixel, from 0."""
    count: int


def ground_spots(picture: Picture, least_pixels: int, core: int) -> Spots:
    """Return the connected bare areas that are not open to the outside, at least ``least_pixels``
    large, and keep a core after shrinking by ``core`` pixels; the pixels are those of the cores."""
    bare = bits.pack(picture.classes == BARE)
    first, last = _runs(bare)
    rows, columns = picture.frame.shape
    part = _components(first, last, columns)
    area = np.bincount(part, weights=last - first + 1, minlength=len(first))
    outside = (first < columns) | (last >= (rows - 1) * columns)
    outside |= (first % columns == 0) | (last % columns == columns - 1)
    wanted = (area >= least_pixels) & (np.bincount(part, outside, minlength=len(first)) == 0)
    keep = wanted[part]
    pixels, run = _spread(first[keep], last[keep])
    inner = bits.test(bits.erode(bare, core), pixels)
    names, spot = np.unique(part[keep][run[inner]], return_inverse=True)
    return Spots(pixels[inner], spot, len(names))


def _runs(plane: Plane) -> tuple[Indices, Indices]:
    """Return the flat index of the first and last pixel of each run of set pixels in a row."""
    first = plane & ~bits.shift_right(plane, 1)
    last = plane & ~bits.shift_left(plane, 1)
    return bits.where(first), bits.where(last)


def _spread(first: Indices, last: Indices) -> tuple[Indices, Indices]:
    """Return every index from first to last of each run, and the run of each."""
    length = last - first + 1
    run = np.repeat(np.arange(len(first)), length)
    begin = np.cumsum(length) - length
    return np.arange(len(run)) - begin[run] + first[run], run


def _components(first: Indices, last: Indices, columns: int) -> Indices:
    """Return for each run the lowest run it is connected to (edge neighbours)."""
    below = np.searchsorted(last, first + columns)
    beyond = np.searchsorted(first, last + columns, side="right")
    other, run = _spread(below, np.maximum(beyond - 1, below - 1))
    label: NDArray[np.intp] = np.arange(len(first))
    while True:
        one, two = label[run], label[other]
        differ = one != two
        if not differ.any():
            return label
        run, other, one, two = run[differ], other[differ], one[differ], two[differ]
        np.minimum.at(label, np.maximum(one, two), np.minimum(one, two))
        while True:  # follow each label to its root
            jumped = label[label]
            if np.array_equal(jumped, label):
                break
            label = jumped

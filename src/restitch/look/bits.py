"""Bit planes: masks packed 64 pixels to a word, so that growing and closing cost next to nothing.

A plane is a (rows, words) uint64 array; bit ``b`` of word ``w`` is column ``64 w + b``. Columns
beyond the edge count as empty when growing and as set when shrinking, so a design needs a margin.
"""

from __future__ import annotations

import zlib
from typing import Any, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from restitch.look.frame import WORD, Window
from restitch.model import BoolArray

Plane: TypeAlias = NDArray[np.uint64]
Indices: TypeAlias = NDArray[np.intp]


def pack(mask: BoolArray) -> Plane:
    """Return a (rows, columns) mask as a plane; columns must be a multiple of 64."""
    return np.packbits(mask, axis=1, bitorder="little").view("<u8")


class Squeezed(NamedTuple):
    """A plane made small, to be sent to another process: most of it is empty or full."""

    shape: tuple[int, int]
    data: bytes

    @classmethod
    def of(cls, plane: Plane) -> Squeezed:
        """The plane, squeezed in a few milliseconds."""
        return cls((len(plane), plane.shape[1]), zlib.compress(plane.tobytes(), 1))

    def plane(self) -> Plane:
        """The plane itself."""
        return np.frombuffer(zlib.decompress(self.data), "<u8").reshape(self.shape)


def crop(plane: Plane, window: Window) -> Plane:
    """Return the part of a frame's plane that lies in a window of its pixels."""
    rows, columns = window
    return plane[rows, columns.start // WORD : columns.stop // WORD]


def count(plane: Plane) -> int:
    """Return how many pixels are set."""
    return int(np.bitwise_count(plane).sum(dtype=np.intp))


def where(plane: Plane) -> Indices:
    """Return the flat pixel indices of all set pixels (quick when few words are set)."""
    flat = np.ascontiguousarray(plane).ravel()
    words = np.flatnonzero(flat)
    octets = flat[words].view(np.uint8).reshape(-1, WORD // 8)
    row, bit = np.nonzero(np.unpackbits(octets, axis=1, bitorder="little"))
    return words[row] * WORD + bit


def test(plane: Plane, pixels: Indices) -> BoolArray:
    """Return whether each flat pixel index is set."""
    words = np.ascontiguousarray(plane).ravel()[pixels // WORD]
    found: BoolArray = (words >> (pixels % WORD).astype(np.uint64) & np.uint64(1)).astype(np.bool_)
    return found


def dilate(plane: Plane, radius: int) -> Plane:
    """Return the plane grown by a square of ``2 radius + 1`` pixels."""
    # a step leaves no gap beyond what is reached, also where the edge cuts one side off
    out, reach = plane, 0
    while reach < radius:
        step = min(reach + 1, radius - reach, WORD - 1)
        out = _beside(out, step)
        reach += step
    reach = 0
    while reach < radius:
        step = min(reach + 1, radius - reach, len(out) - 1)
        if step < 1:
            break
        grown = out.copy()
        grown[step:] |= out[:-step]
        grown[:-step] |= out[step:]
        out, reach = grown, reach + step
    return out


def _beside(plane: Plane, step: int) -> Plane:
    """Return the plane together with itself moved both ways by less than a word."""
    near, far = np.uint64(step), np.uint64(WORD - step)
    out = plane << near
    out |= plane >> near
    out |= plane
    out[:, 1:] |= plane[:, :-1] >> far
    out[:, :-1] |= plane[:, 1:] << far
    return out


def erode(plane: Plane, radius: int) -> Plane:
    """Return the plane shrunk by a square of ``2 radius + 1`` pixels."""
    return ~dilate(~plane, radius)


def closing(plane: Plane, radius: int) -> Plane:
    """Return the plane with gaps up to ``2 radius`` pixels closed."""
    return erode(dilate(plane, radius), radius)


def shift_right(plane: Plane, step: int) -> Plane:
    """Return the plane moved ``step`` columns to the right, empty columns coming in."""
    words, bits = divmod(step, WORD)
    out = np.zeros_like(plane)
    if words < plane.shape[1]:
        out[:, words:] = plane[:, : plane.shape[1] - words]
    if not bits:
        return out
    carry = out[:, :-1] >> _u64(WORD - bits)
    out <<= _u64(bits)
    out[:, 1:] |= carry
    return out


def shift_left(plane: Plane, step: int) -> Plane:
    """Return the plane moved ``step`` columns to the left, empty columns coming in."""
    words, bits = divmod(step, WORD)
    out = np.zeros_like(plane)
    if words < plane.shape[1]:
        out[:, : plane.shape[1] - words] = plane[:, words:]
    if not bits:
        return out
    carry = out[:, 1:] << _u64(WORD - bits)
    out >>= _u64(bits)
    out[:, :-1] |= carry
    return out


def _u64(value: int) -> Any:
    return np.uint64(value)

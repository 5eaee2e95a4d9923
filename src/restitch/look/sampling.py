"""Points spread along stitches: the order-free way to add thread up on a grid."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from restitch.model import BoolArray, FloatArray, IntArray

_BLOCK = 1 << 16
"""Samples handled at once: their arrays stay in the processor's second cache."""


class Stitches(NamedTuple):
    """Sewn stitches as start, unit direction and length, in pixels."""

    start: FloatArray
    """(m, 2) column, row."""
    direction: FloatArray
    """(m, 2) unit vectors."""
    length: FloatArray
    """(m,)"""
    tag: IntArray
    """(m,) what the caller wants to know of each stitch (its class, its slot)."""

    def only(self, keep: BoolArray) -> Stitches:
        """Return the stitches where ``keep`` is true."""
        return Stitches(self.start[keep], self.direction[keep], self.length[keep], self.tag[keep])


def stitches_of(where: FloatArray, sewn: BoolArray, tag: IntArray) -> Stitches:
    """Return the sewn stitches that have a length; ``where`` is (k, 2) pixels, ``sewn`` and
    ``tag`` are (k,) and speak of the way that leads to the point."""
    step = np.diff(where, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    keep = sewn[1:] & (length > 0)
    length = length[keep]
    return Stitches(where[:-1][keep], step[keep] / length[:, None], length, tag[1:][keep])


class Samples(NamedTuple):
    """Points of some stitches, all with the same number of points a stitch."""

    stitch: NDArray[np.intp]
    """(m,) which stitches."""
    x: NDArray[np.float32]
    """(m, points)"""
    y: NDArray[np.float32]


def samples(stitches: Stitches, step: float) -> Iterator[Samples]:
    """Yield points at most ``step`` pixels apart, at the middles of equal pieces of each stitch.

    Stitches with the same number of points are broadcast together, so nothing is repeated.
    """
    points = np.maximum(np.ceil(stitches.length / step), 1).astype(np.int32)
    order = np.argsort(points, kind="stable")
    bounds = np.flatnonzero(np.diff(points[order], prepend=-1, append=-1))
    for a, b in zip(bounds[:-1].tolist(), bounds[1:].tolist(), strict=True):
        n = int(points[order[a]])
        share = ((np.arange(n) + 0.5) / n).astype(np.float32)
        rows = max(1, _BLOCK // n)
        for c in range(a, b, rows):
            pick = order[c : min(c + rows, b)]
            start = stitches.start[pick].astype(np.float32)
            vector = (stitches.direction[pick] * stitches.length[pick, None]).astype(np.float32)
            yield Samples(
                pick,
                start[:, :1] + vector[:, :1] * share,
                start[:, 1:] + vector[:, 1:] * share,
            )

"""The raster's place on the cloth: one pixel is one file unit, 0.1 mm."""

from __future__ import annotations

from typing import NamedTuple, TypeAlias

import numpy as np

from restitch.model import FloatArray, IntArray, Stream

WORD = 64
"""Pixels in a machine word: frames are this multiple wide, so that planes pack without a rest."""

Window: TypeAlias = tuple[slice, slice]
"""Rows and columns of a frame; columns start and stop at multiples of 64."""


class Frame(NamedTuple):
    """A rectangle of pixels; pixel (row, column) is centred on file point (x0 + column, y0 + row).

    Two pictures can be compared only in one frame, which both designs fit in.
    """

    x0: int
    y0: int
    width: int
    """Pixels, a multiple of 64."""
    height: int

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, columns)."""
        return self.height, self.width

    def box_window(self, boxes: IntArray, margin: int) -> Window:
        """Return the rows and columns that hold all boxes with ``margin`` pixels around.

        ``boxes``: (m, 4) file points x0, y0, x1, y1. Columns start and stop at whole words, so
        that the window packs into planes; no boxes give an empty window.
        """
        if not len(boxes):
            return slice(0, 0), slice(0, 0)
        x0, y0 = boxes[:, :2].min(axis=0) - (self.x0 + margin, self.y0 + margin)
        x1, y1 = boxes[:, 2:].max(axis=0) - (self.x0 - margin - 1, self.y0 - margin - 1)
        left = _within(int(x0) // WORD * WORD, 0, self.width)
        right = _within(-(-int(x1) // WORD) * WORD, left, self.width)
        top = _within(int(y0), 0, self.height)
        return slice(top, _within(int(y1), top, self.height)), slice(left, right)

    def place(self, xy: IntArray | FloatArray) -> FloatArray:
        """Return file points as (column, row)."""
        placed: FloatArray = xy.astype(np.float64) - np.array((self.x0, self.y0))
        return placed


def _within(value: int, low: int, high: int) -> int:
    return max(low, min(value, high))


def frame_around(*streams: Stream, margin: int = 12) -> Frame:
    """Return the frame that holds every stitch of the streams with ``margin`` pixels around.

    The margin keeps thread width, closing and tolerance inside (12 pixels: our choice).
    """
    corners = [_corners(s.xy[s.stitch_index]) for s in streams if len(s.stitch_index)]
    if not corners:
        return Frame(0, 0, WORD, WORD)
    low = np.min([low for low, _ in corners], axis=0) - margin
    high = np.max([high for _, high in corners], axis=0) + margin + 1
    width = -(-int(high[0] - low[0]) // WORD) * WORD
    return Frame(int(low[0]), int(low[1]), width, int(high[1] - low[1]))


def _corners(xy: IntArray) -> tuple[IntArray, IntArray]:
    return xy.min(axis=0), xy.max(axis=0)

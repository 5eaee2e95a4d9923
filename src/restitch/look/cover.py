"""Cover: does thread of the right colour pass where a colour shows?

The closed picture forgives thin stitching; cover does not. Threads are point-sampled, for drawn
lines change their width with the heading (Pillow: 1.2 to 2.2 pixels where 2 are asked for).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from restitch.look.picture import Picture
from restitch.look.sampling import Stitches, samples, stitches_of
from restitch.model import BoolArray

_STEP = 0.7
"""Pixels between samples along a stitch: keeps the width the same in every heading (measured:
2.9 to 3.1 pixels where 3 are asked for; at steps of 1 it falls to 2.6 at 45 degrees)."""


def threads_passing(
    picture: Picture, widths: Sequence[int], near: BoolArray | None = None
) -> tuple[BoolArray, ...]:
    """Return for each width a (rows, columns) mask: thread of the colour seen there passes within.

    ``widths`` are the thread's in pixels. ``near`` limits the work to stitches with an end in a
    marked square of 32 x 32 pixels (rows and columns of the frame over 32, rounded up).
    """
    thread = picture.thread
    where = picture.frame.place(thread.xy) + 0.5
    stitches = stitches_of(where, thread.sewn, thread.class_of_slot[thread.slot] + 1)
    if near is not None:
        stitches = stitches.only(_touches(stitches, near))
    found = [np.zeros(picture.classes.size, dtype=np.uint8) for _ in widths]
    seen = picture.classes.reshape(-1)
    columns = picture.frame.width
    for part in samples(stitches, _STEP):
        tag = stitches.tag[part.stitch].astype(seen.dtype)[:, None]
        direction = stitches.direction[part.stitch].astype(np.float32)
        for width, mask in zip(widths, found, strict=True):
            for offset in np.arange(width, dtype=np.float32) - (width - 1) / 2:
                pixel = (part.y + direction[:, :1] * offset).astype(np.intp)
                pixel *= columns
                pixel += (part.x - direction[:, 1:] * offset).astype(np.intp)
                mask[pixel[seen.take(pixel) == tag]] = 1
    return tuple(mask.view(np.bool_).reshape(picture.frame.shape) for mask in found)


TILE = 32
"""Pixels to a side of the squares that ``near`` marks."""


def _touches(stitches: Stitches, near: BoolArray) -> BoolArray:
    """Return which stitches have an end or their middle in a marked square or next to one."""
    grown = np.pad(near, 1)
    grown = (
        grown[:-2] | grown[1:-1] | grown[2:]
    )  # fmt: skip
    grown = grown[:, :-2] | grown[:, 1:-1] | grown[:, 2:]
    keep = np.zeros(len(stitches.length), dtype=np.bool_)
    for share in (0.0, 0.5, 1.0):
        point = stitches.start + stitches.direction * (stitches.length * share)[:, None]
        column, row = (point / TILE).astype(np.intp).T
        keep |= grown[row, column]
    return keep

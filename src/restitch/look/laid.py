"""Thread as it lies: needle points with the object and colour class that each stretch shows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from restitch.model import BoolArray, IntArray, Stream

NOT_JUDGED = -1
"""Owner of stitching that no object answers for (travel between objects)."""


class Laid(NamedTuple):
    """The sewn thread of a design, ready to be drawn.

    A *slot* stands for one object in one colour class; pictures hold slots, not ids.
    """

    xy: IntArray
    """(k, 2) needle points, 0.1 mm."""
    sewn: BoolArray
    """(k,) thread is laid to this point from the one before."""
    slot: IntArray
    """(k,) slot of the thread that leads to this point."""
    owner_of_slot: IntArray
    """(s,) object id, or `NOT_JUDGED`."""
    class_of_slot: IntArray
    """(s,) colour class, from 0."""

    def boxes(self) -> IntArray:
        """(s, 4) x0, y0, x1, y1 of each slot's needle points, the one it is sewn from included."""
        boxes = np.zeros((len(self.owner_of_slot), 4), dtype=np.int32)
        boxes[:, :2], boxes[:, 2:] = np.iinfo(np.int32).max // 2, np.iinfo(np.int32).min // 2
        if not len(self.xy):
            return boxes
        starts = self.starts()[:-1]
        lead = self.xy[starts - self.sewn[starts]]
        slot = self.slot[starts]
        for points in (np.minimum.reduceat(self.xy, starts), lead):
            np.minimum.at(boxes[:, :2], slot, points)
        for points in (np.maximum.reduceat(self.xy, starts), lead):
            np.maximum.at(boxes[:, 2:], slot, points)
        return boxes

    def starts(self) -> IntArray:
        """(p + 1,) where the runs of one slot begin; a run is drawn from the point before it when
        the thread leads on from there."""
        new = ~self.sewn
        new[1:] |= self.slot[1:] != self.slot[:-1]
        return np.append(np.flatnonzero(new), len(self.xy)).astype(np.int32)


def laid(
    stream: Stream,
    owner: IntArray | None = None,
    colour_class: Sequence[int] | IntArray | None = None,
) -> Laid:
    """Return the thread a stream lays.

    ``owner``: object id of each record, or of each STITCH record; None judges nothing.
    ``colour_class``: class of each colour block, from 0, the same number for the same thread in
    every picture to be compared; None makes each block its own class. Two designs are comparable
    only when both use the same ids and classes.
    """
    index = stream.stitch_index
    block = stream.block_of_record[index]
    classes = np.arange(int(block.max(initial=0)) + 1) if colour_class is None else colour_class
    colour = np.asarray(classes, dtype=np.int64)[block]
    ids = _of_stitches(owner, index, len(stream)).astype(np.int64)
    pairs, slot = _numbered((ids - NOT_JUDGED) << _COLOUR_BITS | colour)
    return Laid(
        xy=stream.xy[index],
        sewn=np.diff(index, prepend=-2) == 1,
        slot=slot,
        owner_of_slot=((pairs >> _COLOUR_BITS) + NOT_JUDGED).astype(np.int32),
        class_of_slot=(pairs & (1 << _COLOUR_BITS) - 1).astype(np.int32),
    )


def same_thread(a: Stream, b: Stream) -> bool:
    """Whether two streams lay the same thread: stitches, jumps and blocks are the same."""
    at, other = a.stitch_index, b.stitch_index
    return (
        np.array_equal(a.xy[at], b.xy[other])
        and np.array_equal(np.diff(at) == 1, np.diff(other) == 1)
        and np.array_equal(a.block_of_record[at], b.block_of_record[other])
    )


_COLOUR_BITS = 20


def _numbered(keys: NDArray[np.int64]) -> tuple[NDArray[np.int64], IntArray]:
    """Return the distinct keys and each key's place among them; keys come in long runs."""
    first = np.flatnonzero(np.diff(keys, prepend=-1))
    distinct, place = np.unique(keys[first], return_inverse=True)
    runs = np.diff(np.append(first, len(keys)))
    return distinct, np.repeat(place.astype(np.int32), runs)


def _of_stitches(owner: IntArray | None, index: NDArray[np.intp], records: int) -> IntArray:
    if owner is None:
        return np.full(len(index), NOT_JUDGED, dtype=np.int32)
    if len(owner) == records:
        return owner[index]
    if len(owner) == len(index):
        return owner
    raise ValueError(f"owner has {len(owner)} entries for {records} records, {len(index)} stitches")

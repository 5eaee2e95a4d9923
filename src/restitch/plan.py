"""From objects in a stream to a plan of pieces, and from a plan back to a stream.

`plan_of` cuts a stream into `PlannedObject`s without loss; `emit` sews a plan again, piece by
piece, with the link each piece asks for. Between the two the fixes and the sequencer work.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from restitch.model import (
    AS_LAID_ANEW,
    UNITS_PER_MM,
    ByteArray,
    Command,
    IntArray,
    Link,
    Part,
    Piece,
    PlannedObject,
    SewnObject,
    Stream,
    read_only,
)

KEPT_PLANS = 4
"""Plans remembered: the source's and those of the rounds that settle it."""

NO_OBJECT = -1
"""Owner of records that belong to no object (jumps, trims, changes)."""

WRITTEN_AS_JUMPS_MM = (11.5, 25.0)
"""A stitch of this length may be written as jumps and a stitch: formats reach 12.1 or 12.7 mm."""
SHORT_OF_END_MM = 0.5
"""The jumps of such a stitch end at least this short of its end ..."""
ASIDE_MM = 0.25
"""... and lie this near to its straight line."""

_RANK = {Link.SEWN: 0, Link.JUMP: 1, Link.TRIM: 2, Link.STOP: 3}
_LINKS = tuple(_RANK)


def links_of(stream: Stream) -> ByteArray:
    """(k,) for each STITCH record, the rank of the link that leads to it (0 sewn .. 3 stop)."""
    rank = np.zeros(len(stream), np.uint8)
    rank[stream.command == Command.JUMP] = _RANK[Link.JUMP]
    cut = np.isin(stream.command, (Command.TRIM, Command.COLOR_CHANGE, Command.NEEDLE_SET))
    rank[cut] = _RANK[Link.TRIM]
    rank[stream.command == Command.STOP] = _RANK[Link.STOP]
    stitches = stream.stitch_index
    if not len(stitches):
        return np.zeros(0, np.uint8)
    before = np.concatenate([[0], stitches[:-1] + 1])
    result = np.maximum.reduceat(rank, before)
    result[np.diff(stitches, prepend=-1) == 1] = 0
    result[written_as_jumps(stream)] = _RANK[Link.SEWN]
    return result


def written_as_jumps(stream: Stream) -> IntArray:
    """(m,) numbers of the needle points reached by one long stitch that the format had to write
    as jumps and a stitch: thread is laid all the way, nothing is cut.

    Such jumps stop short of the needle point and lie on the straight way to it; a real jump lands
    where the next stitch begins.
    """
    record = stream.stitch_index
    gap = np.flatnonzero(np.diff(record) > 1) + 1
    other = np.cumsum(~np.isin(stream.command, (Command.JUMP, Command.STITCH)))
    gap = gap[other[record[gap]] == other[record[gap - 1]]]
    start = stream.xy[record[gap - 1]] / UNITS_PER_MM
    end = stream.xy[record[gap]] / UNITS_PER_MM
    last = stream.xy[record[gap] - 1] / UNITS_PER_MM
    way, part = end - start, last - start
    length = np.hypot(way[:, 0], way[:, 1])
    aside = np.abs(way[:, 0] * part[:, 1] - way[:, 1] * part[:, 0]) / np.maximum(length, 1e-9)
    short = np.hypot(*(end - last).T)
    least, most = WRITTEN_AS_JUMPS_MM
    real = (length >= least) & (length <= most) & (short > SHORT_OF_END_MM) & (aside <= ASIDE_MM)
    return np.asarray(gap[real], np.int32)


def threads_of(stream: Stream) -> tuple[int, ...]:
    """Thread class of each colour block: the first block with the same thread.

    A block that goes on with the thread of the block before is a class of its own: the change
    between the two is a halt for the operator. Where the file stores no colours, equal needle
    numbers tell equal threads; without numbers every block is its own class: equal placeholders
    say nothing.
    """
    found: list[int] = []
    keys: Sequence[object] = stream.threads
    if not stream.colours_known:
        keys = _needles_of(stream)
    first: dict[object, int] = {}
    for i, key in enumerate(keys):
        if i and key == keys[i - 1]:
            first[key] = i
        found.append(first.setdefault(key, i))
    return tuple(found)


def _needles_of(stream: Stream) -> list[tuple[int, int]]:
    """For each block its needle number as the file codes it, else the block itself."""
    opening, _ = _block_openings(stream)
    return [
        (data, -1) if command == Command.NEEDLE_SET and data else (0, block)
        for block, (command, data) in enumerate(opening)
    ]


def plan_of(stream: Stream, objects: Sequence[SewnObject]) -> tuple[PlannedObject, ...]:
    """Return the objects as pieces of needle points, in sewing order, nothing lost.

    Every STITCH record of the parts becomes exactly one point. A piece ends at a part's end and
    wherever thread is not laid from one needle point to the next. The last few plans are kept:
    check and fix ask for the same one, and geometry is remembered by its pieces.
    """
    return _plan_of(stream, tuple(objects))


@lru_cache(maxsize=KEPT_PLANS)
def _plan_of(stream: Stream, objects: tuple[SewnObject, ...]) -> tuple[PlannedObject, ...]:
    stitches = _Stitches.of(stream)
    threads = threads_of(stream)
    return tuple(
        PlannedObject(
            id=o.id,
            kind=o.kind,
            block=o.block,
            thread=threads[o.block] if o.block < len(threads) else o.block,
            pieces=tuple(_pieces(o, stitches)),
            first_record=o.start,
            confidence=o.confidence,
            open=o.open,
        )
        for o in objects
    )


class _Stitches(NamedTuple):
    """The STITCH records of a stream, as lists: looked into one by one, thousands of times."""

    record: list[int]
    rank: list[int]
    """Rank of the link that leads to each."""
    cuts: list[int]
    """Those that are not sewn to."""
    xy: IntArray

    @classmethod
    def of(cls, stream: Stream) -> _Stitches:
        record, rank = stream.stitch_index, links_of(stream)
        xy = read_only(stream.xy[record])
        return cls(record.tolist(), rank.tolist(), np.flatnonzero(rank).tolist(), xy)


def _pieces(obj: SewnObject, stitches: _Stitches) -> Iterable[Piece]:
    record, rank, cuts, xy = stitches
    for part in _joined(obj.parts, stitches):
        a, b = bisect_left(record, part.start), bisect_left(record, part.stop)
        inner = cuts[bisect_right(cuts, a) : bisect_left(cuts, b)]
        for i, j in pairwise((a, *inner, b)):
            if j > i:
                yield Piece(part.role, xy[i:j], _LINKS[rank[i]], part.layer, record[i])


def _joined(parts: Sequence[Part], stitches: _Stitches) -> Iterable[Part]:
    """The parts, those of one role joined again that only the jumps of a long stitch divide."""
    last: Part | None = None
    for part in parts:
        if last is not None and _divided_by_jumps(last, part, stitches):
            last = replace(last, stop=part.stop)
            continue
        if last is not None:
            yield last
        last = part
    if last is not None:
        yield last


def _divided_by_jumps(last: Part, part: Part, stitches: _Stitches) -> bool:
    if part.start == last.stop or (last.role, last.layer) != (part.role, part.layer):
        return False
    record, rank = stitches.record, stitches.rank
    before, at = bisect_left(record, last.stop), bisect_left(record, part.start)
    return before == at < len(rank) and rank[at] == _RANK[Link.SEWN]


@dataclass(frozen=True, slots=True, eq=False)
class Emission:
    """A sewn plan: the stream and who owns each of its records."""

    stream: Stream
    owner: IntArray
    """(n,) object id of each STITCH record, `NO_OBJECT` for every other record."""
    thread_of_block: tuple[int, ...]
    """Thread class of each colour block, numbered as `threads_of` numbers the source's."""


def emit(plan: Sequence[PlannedObject], source: Stream) -> Emission:
    """Sew a plan in its order and return it as a stream of the source's format and threads.

    Neighbouring objects of one thread class share a colour block. A block opens with the record
    that opened it in the source (colour change or needle number). The writer of the format splits
    long moves; here a move is one JUMP record to the next needle point.
    """
    opening, opens_first = _block_openings(source)
    trims = _trims_at_changes(source)
    rows: list[IntArray] = []
    blocks: list[PlannedObject] = []
    here: tuple[int, int] = (0, 0)
    thread: int | None = None
    for obj in plan:
        for piece in obj.pieces:
            first = (int(piece.xy[0, 0]), int(piece.xy[0, 1]))
            lead: list[tuple[int, int, int, int, int]] = []
            if obj.thread != thread:
                if thread is not None or opens_first:
                    if trims and thread is not None and piece.link is not Link.STOP:
                        lead.append((*here, Command.TRIM, 0, NO_OBJECT))
                    lead.append((*here, *opening[obj.block], NO_OBJECT))
                lead.append((*first, Command.JUMP, 0, NO_OBJECT))
                blocks.append(obj)
                thread = obj.thread
            elif piece.link is not Link.SEWN:
                if piece.link is Link.TRIM:
                    lead.append((*here, Command.TRIM, 0, NO_OBJECT))
                elif piece.link is Link.STOP:
                    lead.append((*here, Command.STOP, 0, NO_OBJECT))
                if first != here:
                    lead.append((*first, Command.JUMP, 0, NO_OBJECT))
            if lead:
                rows.append(np.array(lead, np.int32))
            body = np.zeros((len(piece.xy), 5), np.int32)
            body[:, :2] = piece.xy
            body[:, 4] = obj.id
            rows.append(body)
            here = (int(piece.xy[-1, 0]), int(piece.xy[-1, 1]))
    last = [(*here, Command.TRIM, 0, NO_OBJECT)] if _ends_with_trim(source) else []
    rows.append(np.array([*last, (*here, Command.END, 0, NO_OBJECT)], np.int32))
    table = np.concatenate(rows)
    data = table[:, 3]
    stream = Stream(
        xy=read_only(np.ascontiguousarray(table[:, :2])),
        command=read_only(table[:, 2].astype(np.uint8)),
        threads=tuple(source.threads[o.block] for o in blocks),
        format=source.format,
        name=source.name,
        colours_known=source.colours_known,
        data=read_only(data.copy()) if data.any() else None,
        warnings=source.warnings,
    )
    return Emission(stream, read_only(table[:, 4].copy()), tuple(o.thread for o in blocks))


def _trims_at_changes(source: Stream) -> bool:
    """Whether the source cuts the thread before most colour changes (else the machine does)."""
    change = np.isin(source.command, (Command.COLOR_CHANGE, Command.NEEDLE_SET))
    gap = np.searchsorted(source.stitch_index, np.flatnonzero(change))
    trims = np.searchsorted(source.stitch_index, np.flatnonzero(source.command == Command.TRIM))
    trimmed = np.zeros(len(source.stitch_index) + 1, bool)
    trimmed[trims] = True
    return bool(trimmed[gap].mean() > 0.5) if len(gap) else True


def _ends_with_trim(source: Stream) -> bool:
    stitches = source.stitch_index
    return bool(len(stitches) and (source.command[stitches[-1] :] == Command.TRIM).any())


def _block_openings(source: Stream) -> tuple[list[tuple[int, int]], bool]:
    """(command, data) that opened each block, and whether the first block opens with one too."""
    change = np.isin(source.command, (Command.COLOR_CHANGE, Command.NEEDLE_SET))
    opens_first = bool(len(change) and source.command[0] == Command.NEEDLE_SET)
    at = np.flatnonzero(change)
    data = source.data if source.data is not None else np.zeros(len(source), np.int32)
    found = [(int(source.command[i]), int(data[i])) for i in at]
    if not opens_first:
        found.insert(0, (int(Command.COLOR_CHANGE), 0))
    return found, opens_first


def renewed(piece: Piece, xy: IntArray, **changes: object) -> Piece:
    """Return the piece with other needle points, marked as laid anew."""
    fields = {"role": piece.role, "link": piece.link, "layer": piece.layer, **changes}
    return Piece(xy=read_only(xy), source=AS_LAID_ANEW, **fields)  # type: ignore[arg-type]

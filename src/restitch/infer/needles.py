"""The needle points of a stream, cut into chains of unbroken sewing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from restitch.geometry.small import distinct
from restitch.infer.settings import Settings
from restitch.infer.ties import tie_length, with_tie_width
from restitch.model import UNITS_PER_MM, BoolArray, Command, FloatArray, IntArray, Stream, read_only

IndexArray = NDArray[np.intp]
HALTS = (Command.STOP, Command.COLOR_CHANGE, Command.NEEDLE_SET)
"""Commands at which the operator or the needle steps in: nothing belongs together across them."""


@dataclass(frozen=True, slots=True, eq=False)
class Needles:
    """One row for every STITCH record, in sewing order."""

    xy_mm: FloatArray
    """(n, 2) needle points."""
    record: IndexArray
    """(n,) record index in the stream."""
    block: IntArray
    """(n,) colour block."""
    section: IntArray
    """(n,) counts the halts before each point: stops and colour changes."""
    chain: IndexArray
    """(n,) number of the chain: stitches sewn one after another without a break."""
    first: IndexArray
    """(c,) first needle point of each chain."""
    stop: IndexArray
    """(c,) one past the last needle point of each chain."""

    def __len__(self) -> int:
        return len(self.record)


def fitted_to(stream: Stream, settings: Settings) -> Settings:
    """The settings with the width of this stream's ties."""
    record = stream.stitch_index
    first = np.flatnonzero(np.diff(record, prepend=-2) != 1)
    stop = np.append(first[1:], len(record))
    return with_tie_width(stream.xy[record] / UNITS_PER_MM, first, stop, settings)


def read_needles(stream: Stream, settings: Settings) -> Needles:
    """The needle points of a stream with their chains.

    A chain ends where two STITCH records are not neighbours, with two corrections: an overlong
    stitch that the format had to write as jumps is no cut, and a tie off followed at once by a tie
    in is one (formats that lose jumps).
    """
    record = stream.stitch_index
    xy_mm = stream.xy[record] / UNITS_PER_MM
    cut = np.diff(record, prepend=-2) != 1
    cut[_overlong_stitches(stream, record, settings)] = False
    if len(record):
        cut[0] = True
    cut[_lost_cuts(xy_mm, cut, settings)] = True
    first = np.flatnonzero(cut)
    return Needles(
        xy_mm=read_only(xy_mm),
        record=read_only(record),
        block=read_only(stream.block_of_record[record]),
        section=read_only(np.cumsum(np.isin(stream.command, HALTS), dtype=np.int32)[record]),
        chain=read_only(np.cumsum(cut) - 1),
        first=read_only(first),
        stop=read_only(np.append(first[1:], len(record))),
    )


def _overlong_stitches(stream: Stream, record: IndexArray, settings: Settings) -> IndexArray:
    """Needle points reached by one stitch that the format could only write with jumps before it."""
    gap = np.flatnonzero(np.diff(record) > 1) + 1
    # some readers see a trim before every jump; a true move ends on its stitch, so it stays a cut
    carries = (Command.STITCH, Command.JUMP, Command.TRIM)
    other = ~np.isin(stream.command, carries)
    seen = np.concatenate([[0], np.cumsum(other)])
    gap = gap[seen[record[gap]] == seen[record[gap - 1]]]
    start, end = stream.xy[record[gap - 1]] / UNITS_PER_MM, stream.xy[record[gap]] / UNITS_PER_MM
    last = stream.xy[record[gap] - 1] / UNITS_PER_MM
    way = end - start
    length = np.hypot(*way.T)
    aside = np.abs(_cross(way, last - start)) / np.maximum(length, 1e-9)
    real = (
        (length >= settings.overlong_from_mm)
        & (length <= settings.overlong_to_mm)
        & (np.hypot(*(end - last).T) > settings.overlong_short_mm)
        & (aside <= settings.overlong_aside_mm)
    )
    found: IndexArray = gap[real]
    return found


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Cross product of two lists of plane vectors."""
    product: FloatArray = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return product


def _lost_cuts(xy_mm: FloatArray, cut: BoolArray, settings: Settings) -> IndexArray:
    """Needle points that start a new chain although no command says so: tie off, then tie in."""
    n = len(xy_mm)
    least = settings.tie_least
    if n < 2 * least + 2:
        return np.zeros(0, np.intp)
    step = np.hypot(*np.diff(xy_mm, axis=0, prepend=xy_mm[:1]).T)
    short = (step <= settings.tie_stitch_mm) & ~cut
    # pile-ups and trails of tiny stitches are no ties
    clear = short & (step > settings.tie_pair_mm)
    runs: BoolArray = np.logical_and.reduce([short[k : n - least + 1 + k] for k in range(least)])
    here = np.arange(least, n - least)
    here = here[~cut[here] & runs[here - least] & runs[here + 1]]
    here = distinct(
        np.concatenate([here[step[here] > settings.tie_stitch_mm], _in_tie_pairs(clear, settings)])
    )
    bounds = np.append(np.flatnonzero(cut), n)
    chain = np.searchsorted(bounds, here, side="right") - 1
    low, high = bounds[chain], bounds[chain + 1]
    off = tie_length(xy_mm, here - 1, -1, here - low, settings, loose=False)
    on = tie_length(xy_mm, here, 1, high - here, settings, loose=False)
    beyond = (here - 1 - off > low) & (here + on + 1 < high)
    sure = (off >= least) & (on >= least) & beyond
    here, both = here[sure], (off + on)[sure]
    # of several places among the same short stitches the one whose ties hold most of them
    group = np.cumsum(~short)[here - 1]
    order = np.lexsort((-here, both, group))
    last = np.diff(group[order], append=-1) != 0
    found: IndexArray = here[order][last]
    return found


def _in_tie_pairs(short: BoolArray, settings: Settings) -> IndexArray:
    """Needle points at which a tie in may begin in the middle of some short stitches in a row."""
    edge = np.flatnonzero(np.diff(np.concatenate([[False], short, [False]]).astype(np.int8)))
    first, stop = edge[::2], edge[1::2]
    low, high = settings.tie_pair
    fits = (stop - first >= low) & (stop - first <= high)
    first, stop = first[fits], stop[fits]
    least = settings.tie_least
    count = stop - first - 2 * least
    at = np.repeat(first + least, count)
    places: IndexArray = at + np.arange(len(at)) - np.repeat(np.cumsum(count) - count, count)
    return places

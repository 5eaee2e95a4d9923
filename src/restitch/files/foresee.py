"""What a format will give back of a stream, without writing and reading all of it.

A rescue reads its result back after every round; for that the bytes themselves are not needed.
Needle points come back as they are; colour changes, stops and threads are those of a sample with
one stitch a block that is really written and read; jumps and trims follow each format's habits.
Tests hold it equal to a real round trip.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from restitch.files.encode import check_limits, library_bytes, writable
from restitch.files.facts import Format
from restitch.files.names import plain_name
from restitch.files.parse import listening_pattern
from restitch.files.read import decode
from restitch.files.records import Records, Table, build
from restitch.model import Command, Stream, read_only

_HALTS = (Command.COLOR_CHANGE, Command.NEEDLE_SET, Command.STOP)
_LOW = 0xFF


def round_trip(stream: Stream, extension: str) -> Stream:
    """Return what reading a file of the format gives after the stream was written to it.

    Raises `WriteError` where the format cannot hold the stream.
    """
    fmt = writable(extension)
    check_limits(stream, fmt)
    records = build(stream, fmt)
    name = plain_name(stream.name, fmt)
    sample = decode(library_bytes(_sample(records), name, fmt), fmt.extension, "sample")
    table = _halts_as_in(sample, records.table)
    table = _as_read(table, fmt)
    data = (table[:, 2] >> 8).astype(np.int32)
    return Stream(
        xy=read_only(table[:, :2].astype(np.int32)),
        command=read_only((table[:, 2] & _LOW).astype(np.uint8)),
        threads=sample.threads,
        format=fmt.extension,
        name=sample.name,
        colours_known=sample.colours_known,
        data=read_only(data) if data.any() else None,
        warnings=sample.warnings,
    )


def _sample(records: Records) -> Records:
    """The halts with one stitch where a block has any, on a small scale."""
    low = records.table[:, 2] & _LOW
    halt = np.isin(low, _HALTS)
    stitch = low == Command.STITCH
    block = np.cumsum(halt)
    first = np.zeros(len(low), bool)
    first[np.flatnonzero(stitch)[np.unique(block[stitch], return_index=True)[1]]] = True
    codes = records.table[halt | first, 2]
    # Two more stitches in the first block that has one, so that there is something to sew.
    at = int(np.flatnonzero(codes & _LOW == Command.STITCH)[0])
    codes = np.concatenate([np.insert(codes, at, [int(Command.STITCH)] * 2), [int(Command.END)]])
    sewn = np.cumsum(codes & _LOW == Command.STITCH)
    table = np.column_stack([8 * (sewn % 4), np.zeros_like(sewn), codes])
    return Records(table, records.threads)


def _halts_as_in(sample: Stream, table: Table) -> Table:
    """Give each change and stop the command that it came back with; drop those that are lost."""
    halt = np.isin(table[:, 2] & _LOW, _HALTS)
    found = np.flatnonzero(np.isin(sample.command, _HALTS))
    codes = sample.command[found].astype(np.int64)
    if sample.data is not None:
        codes |= sample.data[found].astype(np.int64) << 8
    result = table.copy()
    result[halt, 2] = codes
    return result


def _as_read(table: Table, fmt: Format) -> Table:
    if fmt.jump_is_trim:
        return _trim_at_jumps(table)
    if fmt.jump_sews:
        return _without_jumps(table)
    if fmt.trims_over is not None or fmt.trim_after_jumps is not None:
        return _guessed_trims(table, fmt)
    return table


def _trim_at_jumps(table: Table) -> Table:
    """PES and PEC store no trims but mark every jump after the first record as one."""
    table = table[table[:, 2] != Command.TRIM]
    jumps = np.flatnonzero(table[:, 2] == Command.JUMP)
    jumps = jumps[jumps > 0]
    trims = table[jumps - 1].copy()
    trims[:, 2] = Command.TRIM
    return np.insert(table, jumps, trims, axis=0)


def _without_jumps(table: Table) -> Table:
    """VP3 stores no jumps: each block but the first states where it begins, unless that is on an
    axis, and a trim stands at the end."""
    table = table[table[:, 2] != Command.JUMP]
    moved = np.where(table[:, 2] == Command.STITCH, np.arange(len(table)), -1)
    last = np.maximum.accumulate(moved)
    table = table.copy()
    table[:, :2] = np.where((last >= 0)[:, None], table[last, :2], 0)
    opens = np.flatnonzero((table[:, 2] == Command.COLOR_CHANGE) & table[:, :2].all(axis=1))
    starts = table[opens].copy()
    starts[:, 2] = Command.JUMP
    table = np.insert(table, opens + 1, starts, axis=0)
    return np.insert(table, len(table) - 1, [*table[-1, :2], int(Command.TRIM)], axis=0)


def _guessed_trims(table: Table, fmt: Format) -> Table:
    """DST and JEF store a trim as three jumps that come back; readers guess trims from jumps."""
    trims = np.flatnonzero(table[:, 2] == Command.TRIM)
    width = 2 if fmt.trim_after_jumps else 0
    jumps = np.repeat(table[trims], 3, axis=0)
    jumps[:, 2] = Command.JUMP
    sway = np.tile([width, -width, 0], len(trims))[:, None]
    jumps[:, :2] += sway
    where = np.repeat(trims, 3)
    table = np.delete(
        np.insert(table, where, jumps, axis=0), trims + 3 * np.arange(1, len(trims) + 1), axis=0
    )
    # of stitches in a row the reader looks at the last only: it alone is given, with its record
    stitch = table[:, 2] & _LOW == Command.STITCH
    shown = np.flatnonzero(~(stitch & np.append(stitch[1:], False)))
    pattern = listening_pattern()
    pattern.stitches = np.column_stack([table[shown], shown]).tolist()
    pattern.interpolate_trims(fmt.trim_after_jumps, fmt.trims_over, True)
    return _as_shown(table, shown, pattern.stitches)


def _as_shown(table: Table, shown: NDArray[np.intp], rows: list[list[int]]) -> Table:
    """The table as the reader left what it was shown: rows put in have no record of their own."""
    record = np.array([row[3] for row in rows if len(row) > 3], np.intp)
    stays = np.ones(len(table), bool)
    stays[shown] = False
    stays[record] = True
    kept = np.flatnonzero(stays)
    fresh = np.flatnonzero([len(row) == 3 for row in rows])
    if not len(fresh):
        return table[kept]
    # each comes right after the record shown before it
    after = np.append(0, record + 1)[fresh - np.arange(len(fresh))]
    put_in = [rows[at] for at in fresh.tolist()]
    return np.insert(table[kept], np.searchsorted(kept, after), put_in, axis=0)

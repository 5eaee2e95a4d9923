"""The records a format is given: nothing in them needs the library's encoder any more.

Moves are below the format's limit, commands are ones it can hold, a jump leads to the first
stitch where it wants one, and one END closes the list.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from restitch.files.facts import Format
from restitch.files.threads import block_changes, is_by_block, needle_of, placeholder
from restitch.model import ByteArray, Command, Stream, Thread

LONGEST_SEWN = 127
"""Longest move, 0.1 mm, that a format without jumps sews as one stitch instead of trimming: what
most machines sew in one stitch (common practice)."""

Table = NDArray[np.int64]
"""(n, 3) x, y, command with its upper bits."""

_MOVES = (Command.STITCH, Command.JUMP, Command.SEQUIN_EJECT)
_CHANGES = (Command.COLOR_CHANGE, Command.NEEDLE_SET)
_CUTS = (Command.TRIM, *_CHANGES)


class Records(NamedTuple):
    """What the writer is given."""

    table: Table
    threads: tuple[Thread, ...]
    """As the writer lists them: one for each colour block, or one for each needle."""


def build(stream: Stream, fmt: Format) -> Records:
    """Return the records of a stream for a format.

    The stream has stitches and a thread for every colour block.
    """
    if fmt.text:
        return Records(_verbatim(stream), stream.threads)
    table, threads = _plain(stream, fmt)
    table = _without_idle(table, fmt)
    if fmt.jump_sews:
        table = _trim_long_jumps(table)
    if fmt.jump_lands:
        table = _land(table, fmt)
    table = _split(table, fmt.largest_move)
    if fmt.speeds:
        table = _usable_speeds(table)
    if fmt.needles:
        needles = _needles(stream, threads, fmt)
        table = _with_needles(table, needles)
        threads = _listed(threads, needles)
    if fmt.jump_sews:
        table = _even_extents(table)
    end = [*table[-1, :2], int(Command.END)]
    return Records(np.concatenate([table, [end]]), threads)


def _sewn_part(stream: Stream) -> slice:
    """All before the first END."""
    ends = np.flatnonzero(stream.command == Command.END)
    return slice(0, int(ends[0]) if len(ends) else len(stream))


def _verbatim(stream: Stream) -> Table:
    part = _sewn_part(stream)
    codes = stream.command[part].astype(np.int64)
    if stream.data is not None:
        codes |= stream.data[part].astype(np.int64) << 8
    table = np.column_stack([stream.xy[part].astype(np.int64), codes])
    return np.concatenate([table, [[*table[-1, :2], int(Command.END)]]])


def _plain(stream: Stream, fmt: Format) -> tuple[Table, tuple[Thread, ...]]:
    """Return records with one kind of change, none before any stitch, and standing where the
    needle stands."""
    part = _sewn_part(stream)
    command = stream.command[part].astype(np.int64)
    changes = block_changes(stream.command[part])
    command[np.isin(command, _CHANGES)] = Command.COLOR_CHANGE
    kept = np.ones(len(command), bool)
    if stream.command[0] == Command.NEEDLE_SET:
        kept[0] = False
    first = int(np.flatnonzero(command == Command.STITCH)[0])
    leading = changes[changes < first]
    kept[leading] = False
    if fmt.jump_is_trim:  # a stop before any stitch would be given a needle point
        kept[:first] &= command[:first] != Command.STOP
    threads = list(stream.threads[len(leading) :])
    if fmt.stops == "change":
        threads = _repeated_at_stops(command[kept], threads)
        command[command == Command.STOP] = Command.COLOR_CHANGE
    kept &= np.isin(command, _held_by(fmt))
    if not fmt.sequins:
        command[command == Command.SEQUIN_EJECT] = Command.JUMP
    table = np.column_stack([stream.xy[part].astype(np.int64), command])[kept]
    return _standing(table), tuple(threads)


def _held_by(fmt: Format) -> list[int]:
    held = [*_MOVES, Command.TRIM, Command.COLOR_CHANGE]
    held += [Command.STOP] * (fmt.stops == "kept")
    held += [Command.SLOW, Command.FAST] * fmt.speeds
    held += [Command.SEQUIN_MODE] * fmt.sequins
    return [int(c) for c in held]


def _repeated_at_stops(command: NDArray[np.int64], threads: list[Thread]) -> list[Thread]:
    """Where a stop reads back as a change, the block after it needs its thread once more."""
    halts = command[np.isin(command, (Command.COLOR_CHANGE, Command.STOP))]
    block = np.concatenate([[0], np.cumsum(halts == Command.COLOR_CHANGE)])
    return [threads[b] for b in block]


def _standing(table: Table) -> Table:
    """Put records that do not move where the needle stands."""
    moves = np.isin(table[:, 2], [int(c) for c in _MOVES])
    last = np.maximum.accumulate(np.where(moves, np.arange(len(table)), -1))
    result = table.copy()
    result[:, :2] = np.where((last >= 0)[:, None], table[last, :2], 0)
    return result


def _last(mask: NDArray[np.bool_]) -> NDArray[np.int64]:
    """(n,) index of the last True strictly before each row, -1 for none."""
    index = np.where(mask, np.arange(len(mask)), -1)
    return np.concatenate([[-1], np.maximum.accumulate(index)[:-1]])


def _without_idle(table: Table, fmt: Format) -> Table:
    """Leave out what does nothing: trims with no thread to cut, jumps that another format would
    read as something else."""
    command = table[:, 2]
    sewn = _last(np.isin(command, (Command.STITCH, Command.SEQUIN_EJECT)))
    cut = _last(np.isin(command, _CUTS))
    idle = (command == Command.TRIM) & (sewn <= cut)
    if fmt.extension == "tbf":  # a jump of length 0 is its code for a trim
        here = np.diff(table[:, :2], axis=0, prepend=np.zeros((1, 2), np.int64))
        idle |= (command == Command.JUMP) & ~here.any(axis=1)
    if fmt.jump_sews:  # the writer closes with a trim of its own
        idle |= (command == Command.TRIM) & (_next_stitch(command) == len(command))
    if fmt.jump_is_trim or fmt.jump_sews:
        # A change in mid-jump would be given a needle point, or its block would shift.
        idle |= (command == Command.JUMP) & _before_halt(command)
    return _standing(table[~idle])


def _next_stitch(command: NDArray[np.int64]) -> NDArray[np.int64]:
    """(n,) index of the next STITCH after each row, n for none."""
    index = np.where(command == Command.STITCH, np.arange(len(command)), len(command))
    following: NDArray[np.int64] = np.minimum.accumulate(index[::-1])[::-1]
    return following


def _before_halt(command: NDArray[np.int64]) -> NDArray[np.bool_]:
    """True where a change or stop comes before the next stitch."""
    halt = np.isin(command, (Command.COLOR_CHANGE, Command.STOP))
    index = np.where(halt, np.arange(len(command)), len(command))
    return np.minimum.accumulate(index[::-1])[::-1] < _next_stitch(command)


def _trim_long_jumps(table: Table) -> Table:
    """Cut the thread before a jump that would be too long for one sewn stitch."""
    command = table[:, 2]
    opens = (command == Command.JUMP) & (np.roll(command, 1) == Command.STITCH)
    opens[0] = False
    at = np.flatnonzero(opens)
    to = _next_stitch(command)[at]
    at, to = at[to < len(table)], to[to < len(table)]
    far = np.abs(table[to, :2] - table[at - 1, :2]).max(axis=1) > LONGEST_SEWN
    at = at[far]
    trims = table[at - 1].copy()
    trims[:, 2] = Command.TRIM
    return np.insert(table, at, trims, axis=0)


def _land(table: Table, fmt: Format) -> Table:
    """Let a jump lead to the very first stitch after start, trim, stop and change.

    PEC adds a needle point of its own where one leads elsewhere, and keeps a trim only with a
    jump.
    """
    command = table[:, 2]
    rows = np.arange(len(table))
    fresh = _last(np.isin(command, (*_CUTS, Command.STOP))) >= _last(command == Command.STITCH)
    after_jump = np.concatenate([[False], command[:-1] == Command.JUMP])
    step = np.abs(np.diff(table[:, :2], axis=0, prepend=np.zeros((1, 2), np.int64))).max(axis=1)
    stitch = command == Command.STITCH
    wants = stitch & fresh & (step > 0)
    if fmt.jump_is_trim or fmt.trims_over is not None:
        # A jump may read back as a trim, and a move too long for one record becomes a jump.
        wants |= stitch & after_jump & (step > 0)
        wants |= stitch & (step > fmt.largest_move)
    if fmt.jump_is_trim:
        trimmed = _last(command == Command.TRIM) > _last(stitch)
        wants |= stitch & trimmed & ~after_jump
    moved = rows[wants & after_jump]
    table = table.copy()
    table[moved - 1, :2] = table[moved, :2]
    at = rows[wants & ~after_jump]
    jumps = table[at].copy()
    jumps[:, 2] = Command.JUMP
    return np.insert(table, at, jumps, axis=0)


def _split(table: Table, limit: int) -> Table:
    """Split moves that one record cannot hold: jumps up to the last step, then the record."""
    step = np.diff(table[:, :2], axis=0, prepend=np.zeros((1, 2), np.int64))
    pieces = np.maximum(1, -(-np.abs(step).max(axis=1) // limit))
    if (pieces == 1).all():
        return table
    row = np.repeat(np.arange(len(table)), pieces)
    first = np.cumsum(pieces) - pieces
    part = np.arange(len(row)) - first[row] + 1
    result = table[row].copy()
    start = table[row, :2] - step[row]
    # Rounding down keeps each step at most the ceiling of the exact one, so within the limit.
    result[:, :2] = start + step[row] * part[:, None] // pieces[row][:, None]
    result[part < pieces[row], 2] = Command.JUMP
    return result


def _usable_speeds(table: Table) -> Table:
    """A speed is a flag of the move that follows; alone, or two of them, it reads as a trim."""
    speed = np.isin(table[:, 2], (Command.SLOW, Command.FAST))
    follows = np.concatenate([table[1:], table[-1:]])
    moves = np.isin(follows[:, 2], (Command.STITCH, Command.JUMP))
    usable = moves & (follows[:, :2] != table[:, :2]).any(axis=1)
    kept: Table = table[~speed | usable]
    return kept


def _with_needles(table: Table, needles: tuple[int, ...]) -> Table:
    """Put needle numbers in place of colour changes, the first at the very start."""
    codes = (np.array(needles, np.int64) + 1 << 16) | int(Command.NEEDLE_SET)
    result = table.copy()
    result[table[:, 2] == Command.COLOR_CHANGE, 2] = codes[1:]
    return np.concatenate([[[0, 0, codes[0]]], result])


def _needles(stream: Stream, threads: tuple[Thread, ...], fmt: Format) -> tuple[int, ...]:
    """Return a needle for each block: the stream's own where the format keeps them, else one for
    each thread (each block, where the file lists threads by block or no colours are known) in
    order of first use, in a circle."""
    own = _own_needles(stream, len(threads))
    if own and all(0 < n <= fmt.needles for n in own) and _agree(own, threads, fmt):
        return own
    key: dict[object, int] = {}
    shared = stream.colours_known and fmt.colours == "none"
    keys = threads if shared else range(len(threads))
    return tuple(key.setdefault(k, len(key)) % fmt.needles + 1 for k in keys)


def _own_needles(stream: Stream, blocks: int) -> tuple[int, ...]:
    if stream.data is None:
        return ()
    part = _sewn_part(stream)
    sets = stream.command[part] == Command.NEEDLE_SET
    own = needle_of(stream.data[part][sets]).tolist()
    return tuple(own[len(own) - blocks :]) if len(own) >= blocks else ()


def _agree(needles: tuple[int, ...], threads: tuple[Thread, ...], fmt: Format) -> bool:
    """Tell whether no needle holds two threads, where the file says what a needle holds."""
    on: dict[int, Thread] = {}
    pairs = zip(needles, threads, strict=True)
    return fmt.colours == "none" or all(on.setdefault(n, t) == t for n, t in pairs)


def _listed(threads: tuple[Thread, ...], needles: tuple[int, ...]) -> tuple[Thread, ...]:
    """Return the thread list of a file that says what each needle holds."""
    if is_by_block(needles):
        return threads
    on = dict(zip(needles, threads, strict=True))
    return tuple(on.get(n) or placeholder(n - 1) for n in range(1, max(needles) + 1))


def _even_extents(table: Table) -> Table:
    """Make the centre whole: the writer halves the sum of the extents and rounds, which shifts
    colour blocks by 0.1 mm. A first jump is not stored but counts."""
    sums = table[:, :2].min(axis=0) + table[:, :2].max(axis=0)
    odd = sums % 2
    if not odd.any():
        return table
    corner = [*(table[:, :2].max(axis=0) + odd), int(Command.JUMP)]
    return np.concatenate([[corner], table])


def cut_ordinals(command: ByteArray | NDArray[np.int64], *kinds: Command) -> NDArray[np.int64]:
    """Return, for records of the given kinds, how many stitches come before each, once each."""
    before = np.cumsum(command == Command.STITCH)
    return np.flatnonzero(np.bincount(before[np.isin(command, kinds)]))

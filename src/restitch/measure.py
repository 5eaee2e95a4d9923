"""Figures of a stitch file: counts, thread, machine time, size and what cannot sew well.

Nothing here judges; `check` does. The same numbers before and after a fix show what it saved.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from restitch.fabrics.model import Limits, Machine
from restitch.model import UNITS_PER_MM, BoolArray, Command, FloatArray, IntArray, Stream

_CHANGES = (Command.COLOR_CHANGE, Command.NEEDLE_SET)
_CUTS = (Command.TRIM, Command.STOP, *_CHANGES)


class MeasureSettings(NamedTuple):
    """What counts as what, and how thread and minutes are reckoned."""

    jump_over_mm: float = 0.5
    """Moves without thread up to this are no jump (our choice: writers round positions)."""
    needle_m_per_1000: float = 5.0
    """Needle thread for 1,000 stitches (Madeira glossary, "Thread consumption"; two more thread
    makers' figures give 5.0 to 5.2)."""
    bobbin_m_per_1000: float = 3.0
    """Bobbin thread for 1,000 stitches (Madeira glossary, "Thread consumption")."""
    speed_spm: float = 750.0
    """Stitches a minute where neither machine nor fabric says (upper end of the average of 600 to
    750 that The Embroidery Warehouse gives)."""
    tie_stitch_mm: float = 1.05
    """A lock's stitches are at most this long: 1 mm and the file's rounding (our choice)."""
    tie_window: int = 4
    """Stitches looked at next to a thread end (our choice) ..."""
    tie_stitches: int = 3
    """... and how many of them must be short (three locking stitches: common practice)."""


@dataclass(frozen=True, slots=True)
class BlockFigures:
    """Figures of one colour block."""

    block: int
    stitches: int
    thread_laid_m: float
    """Thread on the face of the cloth: the sum of the sewn lengths."""
    trims: int
    stops: int
    jump_mm: float
    """Jump travel inside the block, and into it from the block before."""
    minutes: float
    """Sewing, trims and stops of the block, without the colour change before it."""


@dataclass(frozen=True, slots=True)
class Figures:
    """Figures of one stitch file. A stitch is a STITCH record."""

    stitches: int
    jumps: int
    """Moves over 0.5 mm without thread laid, those at colour changes included."""
    jump_mm: float
    trims: int
    colour_changes: int
    stops: int
    needle_m: float
    """Needle thread by the published metres for 1,000 stitches."""
    bobbin_m: float
    thread_laid_m: float
    """Thread on the face of the cloth: the sum of the sewn lengths."""
    minutes: float
    """Machine time: stitches at speed, jump cycles, trims, colour changes and stops."""
    width_mm: float
    height_mm: float
    short_stitches: int
    """Sewn stitches below the shortest that forms (0.3 mm)."""
    long_stitches: int
    """Sewn stitches above the longest (12.1 mm)."""
    pile_ups: int
    """Points of the 0.1 mm grid with more needle points than the limit (4)."""
    long_untrimmed_jumps: int
    """Jumps over the profile's length (5 mm) with no trim, stop or colour change."""
    thread_ends: int
    """Thread ends: one before each cut and one at the end of the design."""
    tied_ends: int
    tied_starts: int
    blocks: tuple[BlockFigures, ...]

    @property
    def loose_ends(self) -> int:
        """Starts and ends of thread without a lock."""
        return 2 * self.thread_ends - self.tied_ends - self.tied_starts

    def as_dict(self) -> dict[str, Any]:
        """All figures as plain JSON values; lengths rounded to what they mean."""
        return {key: _plain(value) for key, value in asdict(self).items()}


def measure(
    stream: Stream,
    machine: Machine | None = None,
    limits: Limits | None = None,
    *,
    speed_spm: float | None = None,
    settings: MeasureSettings | None = None,
) -> Figures:
    """Return the figures of a stream.

    ``machine`` gives speed and seconds for trims, colour changes and stops, ``limits`` the stitch
    lengths, the trim length and the pile-up; ``speed_spm`` (a profile's speed in force) goes
    before the machine's own.
    """
    machine, limits = machine or Machine(), limits or Limits()
    settings = settings or MeasureSettings()
    moves = _Moves.of(stream, limits, settings)
    speed = speed_spm or machine.speed_spm or settings.speed_spm
    blocks = _block_figures(stream, moves, machine, speed)
    changes = int(moves.change_records)
    width, height = _size_mm(moves.xy)
    tied_ends, tied_starts, ends = _ties(moves, settings)
    stitches = len(moves.xy)
    return Figures(
        stitches=stitches,
        jumps=int(np.count_nonzero(moves.jump)),
        jump_mm=float(moves.length_mm[moves.jump].sum()),
        trims=sum(block.trims for block in blocks),
        colour_changes=changes,
        stops=sum(block.stops for block in blocks),
        needle_m=stitches * settings.needle_m_per_1000 / 1000,
        bobbin_m=stitches * settings.bobbin_m_per_1000 / 1000,
        thread_laid_m=float(moves.length_mm[moves.sewn].sum()) / 1000,
        minutes=sum(block.minutes for block in blocks) + changes * machine.colour_change_s / 60,
        width_mm=width,
        height_mm=height,
        short_stitches=moves.count_sewn(moves.length_mm < limits.shortest_stitch_mm - _HALF_UNIT),
        long_stitches=moves.count_sewn(moves.length_mm > limits.longest_stitch_mm + _HALF_UNIT),
        pile_ups=_pile_ups(moves.xy, limits.pile_up),
        long_untrimmed_jumps=int(
            np.count_nonzero(~moves.sewn & ~moves.cut & (moves.length_mm > limits.trim_over_mm))
        ),
        thread_ends=ends,
        tied_ends=tied_ends,
        tied_starts=tied_starts,
        blocks=blocks,
    )


def saved(before: Figures, after: Figures) -> dict[str, float]:
    """Return before minus after for every total: positive where the fix saves."""
    return {
        field.name: _plain(getattr(before, field.name) - getattr(after, field.name))
        for field in fields(Figures)
        if field.name != "blocks"
    }


_HALF_UNIT = 1e-4
"""Millimetres of slack for float rounding: file lengths differ by at least 0.0004 mm here."""
_MACHINE_REACH_MM = 12.1
"""Frame travel in one machine cycle (from memory: one cycle for 12 mm; 12.1 is the DST step)."""


class _Moves(NamedTuple):
    """The needle's way from each stitch to the next."""

    xy: IntArray
    """(k, 2) stitches, 0.1 mm."""
    length_mm: FloatArray
    """(k - 1,)"""
    sewn: BoolArray
    """(k - 1,) thread is laid: the two records are neighbours."""
    cut: BoolArray
    """(k - 1,) a trim, stop or colour change lies between."""
    jump: BoolArray
    block: IntArray
    """(k,) colour block."""
    change_records: int

    @classmethod
    def of(cls, stream: Stream, limits: Limits, settings: MeasureSettings) -> _Moves:
        index = stream.stitch_index
        xy = stream.xy[index]
        step = np.diff(xy, axis=0).astype(np.float64)
        length_mm = np.hypot(step[:, 0], step[:, 1]) / UNITS_PER_MM
        sewn = np.diff(index) == 1
        cut = np.zeros(len(step), dtype=np.bool_)
        place = np.searchsorted(index, np.flatnonzero(np.isin(stream.command, _CUTS)))
        cut[place[(place > 0) & (place < len(index))] - 1] = True
        block = stream.block_of_record
        return cls(
            xy=xy,
            length_mm=length_mm,
            sewn=sewn,
            cut=cut,
            jump=~sewn & (length_mm > settings.jump_over_mm),
            block=block[index],
            change_records=int(block[-1]) if len(block) else 0,
        )

    def count_sewn(self, mask: NDArray[np.bool_]) -> int:
        return int(np.count_nonzero(mask & self.sewn))


def _block_figures(
    stream: Stream, moves: _Moves, machine: Machine, speed_spm: float
) -> tuple[BlockFigures, ...]:
    count = moves.change_records + 1 if len(stream) else 0
    record_block = stream.block_of_record
    into = moves.block[1:]

    def total(of: Iterable[int], weights: FloatArray | None = None) -> FloatArray:
        return np.bincount(np.asarray(of), weights=weights, minlength=count).astype(np.float64)

    stitches = total(moves.block)
    laid = total(into[moves.sewn], moves.length_mm[moves.sewn])
    jumped = total(into[moves.jump], moves.length_mm[moves.jump])
    cycles = total(into[moves.jump], np.ceil(moves.length_mm[moves.jump] / _MACHINE_REACH_MM))
    trims = total(record_block[stream.command == Command.TRIM])
    stops = total(record_block[stream.command == Command.STOP])
    minutes = (stitches + cycles) / speed_spm + (
        trims * machine.trim_s + stops * machine.stop_s
    ) / 60
    return tuple(
        BlockFigures(
            block=block,
            stitches=int(stitches[block]),
            thread_laid_m=float(laid[block]) / 1000,
            trims=int(trims[block]),
            stops=int(stops[block]),
            jump_mm=float(jumped[block]),
            minutes=float(minutes[block]),
        )
        for block in range(count)
    )


def _size_mm(xy: IntArray) -> tuple[float, float]:
    if not len(xy):
        return 0.0, 0.0
    width, height = (xy.max(axis=0) - xy.min(axis=0)) / UNITS_PER_MM
    return float(width), float(height)


def _pile_ups(xy: IntArray, limit: int) -> int:
    """Return how many grid points hold more than ``limit`` needle points."""
    spot = np.sort((xy[:, 0].astype(np.int64) << 32) + xy[:, 1])
    over = spot[limit:]
    over = over[over == spot[: len(over)]]
    return int(np.count_nonzero(np.diff(over, prepend=over[:1] - 1)))


def _ties(moves: _Moves, settings: MeasureSettings) -> tuple[int, int, int]:
    """Return (locked ends, locked starts, thread ends) of the design."""
    stitches = len(moves.xy)
    if stitches < 2:
        return 0, 0, 0
    small = moves.sewn & (moves.length_mm <= settings.tie_stitch_mm)
    up_to = np.concatenate(([0], np.cumsum(small)))
    cuts = np.flatnonzero(moves.cut)
    ends = np.append(cuts, stitches - 1)
    starts = np.append(0, cuts + 1)
    near_end = up_to[ends] - up_to[np.maximum(ends - settings.tie_window, 0)]
    near_start = up_to[np.minimum(starts + settings.tie_window, len(small))] - up_to[starts]
    need = settings.tie_stitches
    return (
        int(np.count_nonzero(near_end >= need)),
        int(np.count_nonzero(near_start >= need)),
        len(ends),
    )


def _plain(value: Any) -> Any:
    """Return a JSON value; floats keep three decimals (micrometres, millimetres, 0.06 s)."""
    if isinstance(value, float):
        return round(value, 3)
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    return value

"""From a `Stream` to the bytes of a machine format, read back and compared.

The record list is built here, below each format's limits, so that the library's encoder has
nothing left to change; threads are filled first, so that it never picks colours of its own.
"""

from __future__ import annotations

import io
import unicodedata
from dataclasses import dataclass
from typing import Any

import numpy as np

from restitch.errors import WriteError
from restitch.files.facts import FORMATS, Format, facts
from restitch.files.read import decode
from restitch.files.threads import placeholder
from restitch.model import Command, Stream, Thread

_MARK_SHIFT = {Command.NEEDLE_SET, Command.COLOR_CHANGE}


@dataclass(frozen=True, slots=True, eq=False)
class Encoded:
    """A stream as the bytes of a format."""

    data: bytes
    stream: Stream
    """What reading the bytes gives."""
    warnings: tuple[str, ...]
    """What the format cannot carry."""


def encode(stream: Stream, extension: str) -> Encoded:
    """Return the stream in a format, read back and compared.

    Same stream, same bytes. Raises `WriteError` where the format cannot be written or the bytes
    do not read back equal.
    """
    fmt = facts(extension)
    if fmt is None:
        known = ", ".join(FORMATS)
        raise WriteError(f".{extension} cannot be written; formats that can: {known}")
    _check_limits(stream, fmt)
    data = _library_bytes(stream, fmt)
    back = decode(data, fmt.extension, f"result.{fmt.extension}")
    _compare(stream, back, fmt)
    return Encoded(data, back, losses(stream, fmt))


def round_trip(stream: Stream, extension: str) -> Stream:
    """Return the stream as a file of the format gives it back."""
    return encode(stream, extension).stream


def _check_limits(stream: Stream, fmt: Format) -> None:
    if len(stream.threads) > fmt.most_colours:
        raise WriteError(
            f"{len(stream.threads)} colour blocks; .{fmt.extension} holds {fmt.most_colours}"
        )
    if not len(stream.stitch_index):
        raise WriteError("no stitches to write")


def losses(stream: Stream, fmt: Format) -> tuple[str, ...]:
    """Return what the target format cannot carry of this stream, in plain words."""
    lost = []
    dot = f".{fmt.extension}"
    if fmt.extension == stream.format:
        return ()
    if fmt.colours == "none" and stream.colours_known:
        lost.append(f"{dot} stores no thread colours: keep the colour list with the file")
    if fmt.colours == "palette" and stream.colours_known:
        lost.append(f"{dot} stores the nearest colours of a fixed palette")
    if fmt.colours == "exact" and not fmt.thread_names and any(t.name for t in stream.threads):
        lost.append(f"{dot} stores no thread names")
    if not fmt.stops and (stream.command == Command.STOP).any():
        lost.append(f"{dot} cannot tell a stop from a colour change")
    if not fmt.name_letters and stream.name:
        lost.append(f"{dot} stores no design name")
    if fmt.needles and len(stream.threads) > fmt.needles:
        lost.append(f"{dot} has {fmt.needles} needles; colours after that share them")
    if fmt.colours != "none" and not stream.colours_known:
        lost.append(f".{stream.format} names no colours; {dot} is given placeholders")
    if fmt.extension == "jef" and np.ptp(stream.xy, axis=0).max() > 2000:
        lost.append(".jef states a hoop of 110 x 110 mm for designs over 200 mm")
    return tuple(lost)


def _library_bytes(stream: Stream, fmt: Format) -> bytes:
    import pyembroidery

    pattern = pyembroidery.EmbPattern()
    pattern.stitches = _rows(stream, fmt)
    for block, thread in enumerate(stream.threads):
        pattern.add_thread(_library_thread(thread if thread else placeholder(block)))
    name = ascii_text(stream.name)[: fmt.name_letters]
    if name:
        pattern.metadata("name", name)
    writer = next(
        f["writer"] for f in pyembroidery.supported_formats() if f["extension"] == fmt.extension
    )
    target: Any = io.StringIO(newline="") if fmt.text else io.BytesIO()
    pyembroidery.EmbPattern.write_embroidery(writer, pattern, target, dict(fmt.settings))
    value = target.getvalue()
    return value.encode("utf-8") if isinstance(value, str) else bytes(value)


def _library_thread(thread: Thread) -> Any:
    import pyembroidery

    result = pyembroidery.EmbThread()
    result.color = 0xFF000000 | thread.rgb
    result.description = ascii_text(thread.name)
    result.catalog_number = ascii_text(thread.number)
    result.brand = ascii_text(thread.brand)
    result.chart = ""
    return result


def ascii_text(text: str) -> str:
    """Return text without accents, control characters, quotes and commas: two-byte letters and
    separators corrupt several formats."""
    folded = unicodedata.normalize("NFKD", text).encode("ascii", "replace").decode()
    plain = "".join(c for c in folded if c.isprintable() and c not in "\"',")
    return plain.replace("?", "") if "?" not in text and not text.isascii() else plain


def _rows(stream: Stream, fmt: Format) -> list[list[int]]:
    """Return the record list: long moves split, a jump where the format wants one, one END."""
    table, blocks = _prepared(stream, fmt)
    table = _split(table, fmt.largest_move)
    if fmt.needles:
        table = _with_needles(table, stream, blocks, fmt)
    rows: list[list[int]] = table.tolist()
    if fmt.extension == "vp3":
        rows = _vp3_centred(rows)
    return rows


def _prepared(stream: Stream, fmt: Format) -> tuple[Any, int]:
    """Return records as (n, 3) int64: no END or speed records, trims where jumps need them."""
    keep = ~np.isin(stream.command, (Command.END, Command.SLOW, Command.FAST))
    xy, command = stream.xy[keep].astype(np.int64), stream.command[keep].astype(np.int64)
    change = np.isin(command, (Command.COLOR_CHANGE, Command.NEEDLE_SET))
    if len(command) and command[0] == Command.NEEDLE_SET:
        xy, command, change = xy[1:], command[1:], change[1:]
    command[change] = Command.COLOR_CHANGE
    table = np.column_stack([xy, command])
    if fmt.jump_sews:
        table = _trim_before_jumps(table)
    used = np.flatnonzero(np.isin(table[:, 2], (Command.STITCH, Command.TRIM)))
    table = table[: used[-1] + 1] if len(used) else table
    end = np.array([[*table[-1, :2], Command.END]])
    return np.concatenate([_jump_first(table), end]), int(change.sum()) + 1


def _jump_first(table: Any) -> Any:
    """Insert the jump to the first stitch after the start, a trim or a change where it lacks."""
    command = table[:, 2]
    stitch = command == Command.STITCH
    before = np.concatenate([[Command.TRIM], command[:-1]])
    lacks = stitch & np.isin(before, (Command.TRIM, Command.COLOR_CHANGE, Command.STOP))
    moved = np.concatenate([[True], (np.diff(table[:, :2], axis=0) != 0).any(axis=1)])
    at = np.flatnonzero(lacks & (moved | (np.arange(len(table)) == 0)))
    jumps = table[at].copy()
    jumps[:, 2] = Command.JUMP
    return np.insert(table, at, jumps, axis=0)


def _trim_before_jumps(table: Any) -> Any:
    command = table[:, 2]
    before = np.concatenate([[Command.TRIM], command[:-1]])
    at = np.flatnonzero((command == Command.JUMP) & (before == Command.STITCH))
    trims = table[at - 1].copy()
    trims[:, 2] = Command.TRIM
    return np.insert(table, at, trims, axis=0)


def _split(table: Any, limit: int) -> Any:
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
    result[:, :2] = start + np.round(step[row] * (part / pieces[row])[:, None]).astype(np.int64)
    result[part < pieces[row], 2] = Command.JUMP
    return result


def _with_needles(table: Any, stream: Stream, blocks: int, fmt: Format) -> Any:
    """Put needle numbers in place of colour changes, the first at the very start."""
    from pyembroidery import encode_thread_change

    needles = _needle_numbers(stream, blocks, fmt)
    at = np.flatnonzero(table[:, 2] == Command.COLOR_CHANGE)
    codes = [encode_thread_change(int(Command.NEEDLE_SET), None, n) for n in needles]
    table[at, 2] = codes[1:]
    first = np.array([[*table[0, :2] * 0, codes[0]]])
    return np.concatenate([first, table])


def _needle_numbers(stream: Stream, blocks: int, fmt: Format) -> list[int]:
    """Needle numbers the stream carries, else threads numbered in order of first use."""
    change = np.flatnonzero(stream.command == Command.NEEDLE_SET)
    if stream.data is not None and len(change) == blocks:
        return [((int(d) >> 8) & 0xFF) - 1 for d in stream.data[change]]
    numbers: dict[Thread, int] = {}
    return [numbers.setdefault(t, len(numbers)) % fmt.needles + 1 for t in stream.threads]


def _vp3_centred(rows: list[list[int]]) -> list[list[int]]:
    """The writer halves the extents: make both sums even, or colour blocks shift by 0.1 mm."""
    xs, ys = [r[0] for r in rows], [r[1] for r in rows]
    odd = ((min(xs) + max(xs)) % 2, (min(ys) + max(ys)) % 2)
    if any(odd):
        rows.insert(0, [max(xs) + odd[0], max(ys) + odd[1], int(Command.JUMP)])
    return rows


def _compare(stream: Stream, back: Stream, fmt: Format) -> None:
    """Raise `WriteError` unless needle points and colour blocks read back equal."""
    wanted, found = stream.xy[stream.stitch_index], back.xy[back.stitch_index]
    if len(wanted) != len(found):
        raise WriteError(
            f"read-back has {len(found):,} stitches for {len(wanted):,}; nothing written"
        )
    shift = found[0] - wanted[0]
    off = np.flatnonzero((found - shift != wanted).any(axis=1))
    if len(off) and not (fmt.extension == "vp3" and _within_rounding(wanted, found)):
        raise WriteError(f"read-back differs at stitch {off[0] + 1:,}; nothing written")
    blocks, back_blocks = (s.block_of_record[s.stitch_index] for s in (stream, back))
    if fmt.stops and not np.array_equal(blocks, back_blocks):
        raise WriteError("read-back has other colour blocks; nothing written")


def _within_rounding(wanted: Any, found: Any) -> bool:
    shift = np.round(np.median(found - wanted, axis=0)).astype(np.int64)
    return bool(np.abs(found - wanted - shift).max() <= 1)

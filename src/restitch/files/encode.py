"""From a `Stream` to the bytes of a machine format, read back and compared."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from restitch.errors import UnreadableError, WriteError
from restitch.files.facts import FORMATS, Format, facts
from restitch.files.losses import losses
from restitch.files.names import plain_name, plain_thread
from restitch.files.parse import remember
from restitch.files.read import decode
from restitch.files.records import Records, build, cut_ordinals
from restitch.model import Command, Stream, Thread


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
    fmt = writable(extension)
    check_limits(stream, fmt)
    data = library_bytes(build(stream, fmt), plain_name(stream.name, fmt), fmt)
    try:
        back = decode(data, fmt.extension, "read-back")
    except UnreadableError as error:
        raise WriteError(f"{error}; nothing written") from None
    problem = difference(stream, back, fmt)
    if problem:
        raise WriteError(f"read-back {problem}; nothing written")
    return Encoded(data, back, losses(stream, fmt))


def writable(extension: str) -> Format:
    """Return the facts of a format; raises `WriteError` where it cannot be written."""
    fmt = facts(extension)
    if fmt is None:
        known = ", ".join(FORMATS)
        raise WriteError(f".{extension} cannot be written; formats that can: {known}")
    return fmt


def check_limits(stream: Stream, fmt: Format) -> None:
    """Raise `WriteError` where the format cannot hold the stream."""
    if not len(stream.stitch_index):
        raise WriteError("no stitches to write")
    blocks = int(stream.block_of_record[-1]) + 1
    if len(stream.threads) != blocks:
        raise WriteError(f"{len(stream.threads)} threads for {blocks} colour blocks")
    stops = int((stream.command == Command.STOP).sum())
    entries = blocks + (stops if fmt.same_thread_change == "stop" else 0)
    if entries > fmt.most_colours:
        raise WriteError(
            f"{entries} colour blocks and stops; .{fmt.extension} holds {fmt.most_colours}"
        )


@cache
def _writers() -> Mapping[str, Any]:
    import pyembroidery

    remember(pyembroidery.DstWriter, "encode_record")
    formats = pyembroidery.EmbPattern.supported_formats()
    return {f["extension"]: f["writer"] for f in formats if f.get("writer")}


def library_bytes(records: Records, name: str, fmt: Format) -> bytes:
    """Return the bytes that the library's writer makes of the records."""
    import pyembroidery

    pattern = pyembroidery.EmbPattern()
    pattern.stitches = records.table.tolist()
    pattern.threadlist = [_library_thread(plain_thread(t, fmt)) for t in records.threads]
    if name:
        pattern.metadata("name", name)
    writer = _writers()[fmt.extension]
    text = getattr(writer, "WRITE_FILE_IN_TEXT_MODE", False)
    target: Any = io.StringIO() if text else io.BytesIO()
    # The records are built for the format already: its encoder is not needed.
    writer.write(pattern, target, dict(fmt.settings))
    value = target.getvalue()
    return value.encode("ascii") if isinstance(value, str) else bytes(value)


def _library_thread(thread: Thread) -> Any:
    import pyembroidery

    result = pyembroidery.EmbThread()
    result.color = 0xFF000000 | thread.rgb
    result.description = thread.name
    result.catalog_number = thread.number
    result.brand = thread.brand
    result.chart = result.details = result.weight = ""
    return result


def difference(stream: Stream, back: Stream, fmt: Format) -> str:
    """Return how a file's content differs from the stream it was made of, or ``""``.

    Compared are needle points, places of colour changes and stops, the thread of every stitch
    as far as the format stores it, and trims as far as the format tells them from jumps.
    """
    ends = np.flatnonzero(stream.command == Command.END)
    command = stream.command[: ends[0]] if len(ends) else stream.command
    stitches = np.flatnonzero(command == Command.STITCH)
    wanted, found = stream.xy[stitches], back.xy[back.stitch_index]
    if len(wanted) != len(found):
        return f"has {len(found):,} stitches for {len(wanted):,}"
    off = np.flatnonzero((found != wanted).any(axis=1))
    if len(off):
        return f"differs at stitch {off[0] + 1:,}"
    return (
        _other_halts(command, back, fmt)
        or _other_threads(stream, stitches, back, fmt)
        or _other_trims(command, back, fmt)
    )


def _inside(places: NDArray[np.int64]) -> NDArray[np.int64]:
    """What happens before the first stitch cuts and halts nothing."""
    return places[places > 0]


def _other_halts(command: NDArray[np.uint8], back: Stream, fmt: Format) -> str:
    change = (Command.COLOR_CHANGE, Command.NEEDLE_SET)
    kinds = change if fmt.stops == "lost" else (*change, Command.STOP)
    wanted, found = (_inside(cut_ordinals(c, *kinds)) for c in (command, back.command))
    if not np.array_equal(wanted, found):
        return "has other colour changes or stops"
    if fmt.stops == "kept" and fmt.same_thread_change == "kept" and fmt.extension != "jef":
        wanted, found = (_inside(cut_ordinals(c, Command.STOP)) for c in (command, back.command))
        if not np.array_equal(wanted, found):
            return "has other stops"
    return ""


def _other_threads(stream: Stream, stitches: NDArray[np.intp], back: Stream, fmt: Format) -> str:
    if fmt.colours != "exact":
        return ""
    held: Callable[[Thread], object] = (
        (lambda t: plain_thread(t, fmt)) if fmt.thread_names else (lambda t: t.rgb & 0xFFFFFF)
    )
    number: dict[object, int] = {}
    ids = [
        np.array([number.setdefault(held(t), len(number)) for t in s.threads])
        for s in (stream, back)
    ]
    wanted = ids[0][stream.block_of_record[stitches]]
    found = ids[1][back.block_of_record[back.stitch_index]]
    off = np.flatnonzero(wanted != found)
    return f"has another thread at stitch {off[0] + 1:,}" if len(off) else ""


def _other_trims(command: NDArray[np.uint8], back: Stream, fmt: Format) -> str:
    """Every trim is there, and no trim is where neither a trim nor a jump was asked for."""
    stitches = int((command == Command.STITCH).sum())
    trims = _inside(cut_ordinals(command, Command.TRIM))
    jumps = _inside(cut_ordinals(command, Command.JUMP))
    halts = cut_ordinals(command, Command.STOP, Command.COLOR_CHANGE, Command.NEEDLE_SET)
    found = _inside(cut_ordinals(back.command, Command.TRIM))
    # A change cuts the thread anyway, and some formats have no place for a trim beside it.
    unseen = _short_moves(back, fmt)
    there = np.isin(trims, np.concatenate([found, halts, unseen]), kind="table")
    lacking = trims[(trims < stitches) & ~there]
    if len(lacking):
        return f"lacks the trim after stitch {lacking[0]:,}"
    asked = np.concatenate([trims, jumps, halts, [stitches]])
    long_moves = _long_moves(back, fmt)
    extra = found[~np.isin(found, np.concatenate([asked, long_moves]), kind="table")]
    return f"trims after stitch {extra[0]:,}" if len(extra) else ""


def _steps(back: Stream) -> NDArray[np.int64]:
    points = back.xy[back.stitch_index].astype(np.int64)
    steps: NDArray[np.int64] = np.abs(np.diff(points, axis=0)).max(axis=1, initial=0)
    return steps


def _short_moves(back: Stream, fmt: Format) -> NDArray[np.int64]:
    """Stitches after which a trim is in the file but too short a move follows for readers."""
    if fmt.trims_over is None:
        return np.zeros(0, np.int64)
    return np.flatnonzero(_steps(back) <= fmt.trims_over) + 1


def _long_moves(back: Stream, fmt: Format) -> NDArray[np.int64]:
    """Stitches after which the way to the next needs more than one record."""
    return np.flatnonzero(_steps(back) > fmt.largest_move) + 1

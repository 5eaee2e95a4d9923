"""From a path to a `Stream`: guards first, then pyembroidery, then sanity, then arrays."""

from __future__ import annotations

from contextlib import suppress
from itertools import chain
from os.path import exists, isdir
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from restitch.errors import UnreadableError
from restitch.files.facts import COLOURS_ONLY, FORMATS, READ_ONLY_BYTES
from restitch.files.guards import MOST_BYTES, WITHOUT_END, Damaged, check_after, check_before
from restitch.files.parse import MovesWithoutEnd, Parsed, ParseFailed, parse, readers
from restitch.files.process import ReaderProcess
from restitch.files.threads import resolve
from restitch.model import ByteArray, Command, IntArray, Stream, read_only

MOST_MM = 600.0
"""Larger designs fit no hoop."""

MOST_MOVE_MM = 1000.0
"""A longer way from the origin to the design is no honest move."""

MOST_RECORDS_HERE = 1_500_000
"""Files that may hold more are parsed in the reader process (1 M records: 2.3 s, 0.2 GiB)."""

MOST_MOVES_HERE = 5_000
"""So are files with more moves in a row, in which trims must be guessed: no honest way is so long
(a million records in such rows: 2 s)."""

_KNOWN = np.array(sorted(int(c) for c in Command), np.int64)


def digest(path: Path) -> str:
    """Return the SHA-256 of a file as hex."""
    import hashlib

    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def unchanged(path: Path, digest_before: str) -> bool:
    """Tell whether a file still has the bytes it had when `digest` was taken."""
    try:
        return digest(path) == digest_before
    except OSError:
        return False


def readable_extensions() -> tuple[str, ...]:
    """Return the extensions of stitch files that can be read, those that can be written first."""
    others = sorted(set(readers()) - set(FORMATS) - set(COLOURS_ONLY))
    return (*FORMATS, *others)


def read_stream(path: Path, *, reader: ReaderProcess | None = None) -> Stream:
    """Return the stitch file at a path as a stream; record ``i`` is pyembroidery's record ``i``.

    ``reader``: a warm process for files that must be parsed apart; without one each such file
    starts its own. Raises `UnreadableError` with one line: the file and the reason.
    """
    return decode(read_bytes(path), extension_of(path), path.name, reader=reader)


def extension_of(path: Path) -> str:
    """Return the extension that names a file's format, in small letters and without the dot."""
    return path.suffix.lower().lstrip(".")


def decode(
    data: bytes, extension: str, name: str, *, reader: ReaderProcess | None = None
) -> Stream:
    """Return the stream of a file's bytes; ``name`` is how messages call the file."""
    try:
        doubts = check_before(data, extension)
        parsed = _parsed(data, extension, reader)
        more = check_after(data, extension, parsed.stopped, len(parsed.rows))
        return _stream(parsed, data, extension, doubts + more)
    except (Damaged, ParseFailed) as error:
        raise UnreadableError(f"{name}: {error}") from None


def read_bytes(path: Path) -> bytes:
    """Return the bytes of a file that may be a stitch file; raises `UnreadableError`.

    Of a file that is too large only as much as `decode` needs to refuse it.
    """
    extension = extension_of(path)
    if extension in COLOURS_ONLY:
        raise UnreadableError(f"{path.name}: holds thread colours only, no stitches")
    try:
        if isdir(path):
            raise UnreadableError(f"{path}: is a folder, not a stitch file")
        if exists(path) and extension not in readers():
            known = ", ".join(readable_extensions())
            raise UnreadableError(f"{path.name}: unknown extension; known: {known}")
        with path.open("rb") as file:
            return file.read(MOST_BYTES + 1)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise UnreadableError(f"{path}: cannot be read ({reason.lower()})") from None
    except ValueError:  # a null byte in the name
        raise UnreadableError(f"{path}: is no file name") from None


def is_bounded(extension: str, size: int) -> bool:
    """Tell whether a file can be parsed in this process.

    Its reader's work is bounded by its bytes (every loop reads bytes until they run out, and no
    count in the file sizes anything), and these cannot hold so many records that time or memory
    would run away. All other files are parsed under limits, in a child.
    """
    fmt = FORMATS.get(extension)
    least = fmt.bytes_per_stitch if fmt else READ_ONLY_BYTES.get(extension)
    return least is not None and size / least <= MOST_RECORDS_HERE


def _parsed(data: bytes, extension: str, reader: ReaderProcess | None) -> Parsed:
    if is_bounded(extension, len(data)):
        with suppress(MovesWithoutEnd):
            return parse(data, extension, MOST_MOVES_HERE)
    if reader is not None:
        return reader.parse(data, extension)
    with ReaderProcess() as own:
        return own.parse(data, extension)


def _stream(parsed: Parsed, data: bytes, extension: str, doubts: tuple[str, ...]) -> Stream:
    table = _table(parsed.rows)
    _check_coordinates(table)
    command, extra = _commands(table[:, 2])
    xy = np.round(table[:, :2]).astype(np.int32)
    _check_stitches(xy, command)
    doubts += _open_end(extension, xy, command)
    off_grid = float(np.abs(table[:, :2] - xy).max())
    if off_grid > 0:
        doubts += (f"points moved to the 0.1 mm grid, by up to {off_grid / 10:.3f} mm",)
    found = resolve(parsed, data, extension, command, extra)
    return Stream(
        xy=read_only(xy),
        command=read_only(found.command),
        threads=found.threads,
        format=extension,
        name=parsed.name,
        colours_known=found.known,
        data=read_only(extra) if extra.any() else None,
        warnings=doubts + found.warnings,
    )


def _open_end(extension: str, xy: IntArray, command: ByteArray) -> tuple[str, ...]:
    """Warn where a format without an end mark ends in a jump that does not lead home."""
    last = command[command != Command.END][-1:]
    if extension in WITHOUT_END and (last == Command.JUMP).any() and xy[-1].any():
        return ("the stitches end in the middle of a jump; the file may end early",)
    return ()


def _table(rows: Any) -> NDArray[np.float64]:
    """Return the records as (n, 3) doubles: x, y, command."""
    if isinstance(rows, np.ndarray):
        return rows
    try:
        return np.fromiter(chain.from_iterable(rows), np.float64).reshape(-1, 3)
    except (ValueError, TypeError, OverflowError):
        raise Damaged("a coordinate is not a number") from None


def _check_coordinates(table: NDArray[np.float64]) -> None:
    if not len(table):
        raise Damaged("no stitches")
    bad = np.flatnonzero(~np.isfinite(table).all(axis=1))
    if len(bad):
        raise Damaged(f"a coordinate of record {bad[0] + 1:,} is not a finite number")
    size_mm = float(np.ptp(table[:, :2] / 10, axis=0).max())
    if size_mm > MOST_MM:
        raise Damaged(f"{_length(size_mm)} wide, larger than any hoop")
    away_mm = float(np.abs(table[:, :2]).max() / 10)
    if away_mm > MOST_MOVE_MM:
        raise Damaged(f"begins with a move of {_length(away_mm)}, larger than any hoop")


def _length(mm: float) -> str:
    if mm > 1e6:
        return "kilometres"
    return f"{mm / 1000:.1f} m" if mm >= 1000 else f"{mm:.0f} mm"


def _commands(column: NDArray[np.float64]) -> tuple[ByteArray, IntArray]:
    """Return (commands, upper bits); raise `Damaged` for what no machine knows."""
    codes = column.astype(np.int64)
    low = codes & 0xFF
    bad = np.flatnonzero(~np.isin(low, _KNOWN) | (codes < 0) | (codes >= 1 << 32))
    if len(bad):
        raise Damaged(f"record {bad[0] + 1:,} holds a command that no machine file may hold")
    return low.astype(np.uint8), (codes >> 8).astype(np.int32)


def _check_stitches(xy: IntArray, command: ByteArray) -> None:
    stitches = np.flatnonzero(command == Command.STITCH)
    if not len(stitches):
        raise Damaged("no stitches")
    if (command[: stitches[-1]] == Command.END).any():
        raise Damaged("stitches follow the end record")
    sewn = xy[stitches]
    if (sewn == sewn[0]).all():
        raise Damaged("all stitches are in one hole; nothing to sew")

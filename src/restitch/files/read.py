"""From a path to a `Stream`: guards first, then pyembroidery, then sanity, then arrays."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path
from typing import Any

import numpy as np

from restitch.errors import UnreadableError
from restitch.files.guards import check_bytes
from restitch.files.threads import pes_threads, placeholder, plain_thread
from restitch.model import ByteArray, Command, IntArray, Stream, Thread, read_only

COLOURLESS = ("dst", "exp", "u01", "100", "10o", "dsb", "dsz", "ksm", "tap", "exy", "fxy", "zxy")
"""Formats that store no colours (a DST may: its threads are then listed)."""

MOST_MM = 600
"""Larger designs fit no hoop."""

_KNOWN = np.array(sorted(int(c) for c in Command))


def digest(path: Path) -> str:
    """Return the SHA-256 of a file as hex."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def readable_extensions() -> tuple[str, ...]:
    """Return the extensions of stitch files that can be read, the most common first."""
    import pyembroidery

    only_colours = ("edr", "col", "inf", "pmv", "gcode")
    return tuple(
        f["extension"]
        for f in pyembroidery.supported_formats()
        if f.get("reader") and f["extension"] not in only_colours
    )


def read_stream(path: Path) -> Stream:
    """Return the stitch file at a path as a stream.

    Raises `UnreadableError` with one line that names the file and the reason.
    """
    name = path.name
    extension = path.suffix.lower().lstrip(".")
    if path.is_dir():
        raise UnreadableError(f"{path}: is a folder, not a stitch file")
    if extension not in readable_extensions():
        known = ", ".join(readable_extensions()[:10])
        raise UnreadableError(f"{name}: unknown extension; known: {known}, ...")
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise UnreadableError(f"{path}: no such file") from None
    except OSError as error:
        raise UnreadableError(f"{path}: cannot be read ({error.strerror})") from None
    return decode(data, extension, name)


def decode(data: bytes, extension: str, name: str) -> Stream:
    """Return the stream of a file's bytes; ``name`` is how messages call the file."""
    warnings = check_bytes(data, extension, name)
    pattern, listed = _parse(data, extension, name)
    xy, command, extra = _records(pattern, name, len(data))
    return _sane(data, extension, name, pattern, listed, xy, command, extra, warnings)


def _parse(data: bytes, extension: str, name: str) -> tuple[Any, list[Any]]:
    """Return (pattern, threads as listed before stops were told apart)."""
    import pyembroidery

    reader = next(
        f["reader"] for f in pyembroidery.supported_formats() if f["extension"] == extension
    )
    pattern = _Pattern()
    try:
        text = extension in ("json", "csv")
        source: Any = io.StringIO(data.decode("utf-8")) if text else io.BytesIO(data)
        reader.read(source, pattern)
    except MemoryError:
        raise UnreadableError(f"{name}: needs more memory than allowed to unpack") from None
    except Exception as error:  # damaged files raise whatever the reader stumbles over
        kind = type(error).__name__
        raise UnreadableError(
            f"{name}: damaged or not a {extension.upper()} file ({kind} while reading)"
        ) from None
    return pattern, pattern.listed


def _Pattern() -> Any:  # noqa: N802 - a class made late, so that pyembroidery loads late
    from pyembroidery import EmbPattern

    class Listening(EmbPattern):  # type: ignore[misc]
        """Remembers the thread list as it was before equal neighbours became stops."""

        def __init__(self) -> None:
            super().__init__()
            self.kept: list[Any] | None = None

        def interpolate_duplicate_color_as_stop(self) -> None:
            self.kept = list(self.threadlist)
            super().interpolate_duplicate_color_as_stop()

        @property
        def listed(self) -> list[Any]:
            return self.kept if self.kept is not None else list(self.threadlist)

    return Listening()


def _records(pattern: Any, name: str, size: int) -> tuple[IntArray, ByteArray, IntArray]:
    """Return positions on the 0.1 mm grid, commands and their upper bits."""
    stitches = pattern.stitches
    if len(stitches) > max(1000, size * 10):
        raise UnreadableError(f"{name}: damaged (more records than its bytes can hold)")
    try:
        table = np.array(stitches, dtype=np.float64).reshape(-1, 3)
    except (ValueError, TypeError, OverflowError):
        raise UnreadableError(f"{name}: a coordinate is not a number") from None
    if not np.isfinite(table).all():
        raise UnreadableError(f"{name}: a coordinate is not a number")
    if len(table) and np.abs(table[:, :2]).max() > 1e8:
        raise UnreadableError(f"{name}: {_metres(table)} wide, larger than any hoop")
    codes = table[:, 2].astype(np.int64)
    command = (codes & 0xFF).astype(np.uint8)
    if not np.isin(command, _KNOWN).all():
        raise UnreadableError(f"{name}: holds an unknown or a drawing command; not for a machine")
    xy = np.round(table[:, :2]).astype(np.int32)
    return xy, command, (codes >> 8).astype(np.int32)


def _metres(table: Any) -> str:
    width = float(2 * np.abs(table[:, :2]).max()) / 10_000
    return f"{width:.1f} m" if width < 1e6 else "kilometres"


def _sane(
    data: bytes,
    extension: str,
    name: str,
    pattern: Any,
    listed: list[Any],
    xy: IntArray,
    command: ByteArray,
    extra: IntArray,
    warnings: tuple[str, ...],
) -> Stream:
    sewn = command == Command.STITCH
    if not sewn.any():
        raise UnreadableError(f"{name}: no stitches")
    width = float(np.ptp(xy, axis=0).max()) / 10
    if width > MOST_MM:
        raise UnreadableError(f"{name}: {width / 1000:.1f} m wide, larger than any hoop")
    if len(np.unique(xy[sewn], axis=0)) < 2:
        raise UnreadableError(f"{name}: all stitches in one hole; nothing to sew")
    command, threads, known, more = _threads(data, extension, pattern, listed, command)
    metadata = {str(k).lower(): v for k, v in pattern.extras.items()}
    return Stream(
        xy=read_only(xy),
        command=read_only(command),
        threads=threads,
        format=extension,
        name=str(metadata.get("name") or "").strip(),
        colours_known=known,
        data=read_only(extra) if extra.any() else None,
        warnings=warnings + more,
    )


def _threads(
    data: bytes, extension: str, pattern: Any, listed: list[Any], command: ByteArray
) -> tuple[ByteArray, tuple[Thread, ...], bool, tuple[str, ...]]:
    """Return commands (a stop that changes thread made a colour change), threads by block."""
    if extension in ("pes", "pec"):
        command, found = _pes_blocks(data, listed, command)
    else:
        found = [plain_thread(t) for t in pattern.threadlist]
    change = np.isin(command, (Command.COLOR_CHANGE, Command.NEEDLE_SET))
    if command[0] == Command.NEEDLE_SET:
        change[0] = False
    blocks = int(change.sum()) + 1
    known = extension not in COLOURLESS or (extension == "dst" and len(found) >= blocks)
    if not known:
        found = []
    missing = blocks - sum(t is not None for t in found[:blocks])
    more: tuple[str, ...] = ()
    if known and missing:
        more = (f"{missing} of {blocks} colours are not named in the file; placeholders used",)
    threads = tuple((found[b] if b < len(found) else None) or placeholder(b) for b in range(blocks))
    return command, threads, known, more


def _pes_blocks(
    data: bytes, listed: list[Any], command: ByteArray
) -> tuple[ByteArray, list[Thread | None]]:
    """A palette has an entry for every stop as well: keep those of the colour changes."""
    entries, changes = pes_threads(data, listed, command)
    command = command.copy()
    found: list[Thread | None] = entries[:1]
    for k, at in enumerate(changes, 1):
        thread = entries[k] if k < len(entries) else None
        if command[at] == Command.STOP and thread is not None and thread != found[-1]:
            command[at] = Command.COLOR_CHANGE
        if command[at] == Command.COLOR_CHANGE:
            found.append(thread)
    return command, found

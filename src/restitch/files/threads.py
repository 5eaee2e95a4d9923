"""Which thread sews which colour block, and a fixed palette for what the file does not name."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from restitch.files.facts import CATALOGUE_UNKNOWN
from restitch.files.parse import Parsed, RawThread, raw_thread
from restitch.model import ByteArray, Command, IntArray, Thread

_PLACEHOLDER_RGB = (
    0x1F3A5F,
    0xB03A2E,
    0xD9A441,
    0x2E6E4E,
    0x6C4A8A,
    0x3E8FA8,
    0x8A5A33,
    0x4A4A4A,
    0xC4698F,
    0x7A8F2E,
    0xDD7F2A,
    0x274690,
    0x8C1C38,
    0x5FA37A,
    0xA08CC0,
    0x202020,
)
"""Colours for blocks whose thread the file does not name: fixed, so the same file always gives
the same bytes (our choice)."""


def placeholder(block: int) -> Thread:
    """Return the placeholder thread of a colour block; neighbours differ in colour, all in name."""
    return Thread(_PLACEHOLDER_RGB[block % len(_PLACEHOLDER_RGB)], f"thread {block + 1}")


class BlockThreads(NamedTuple):
    """Threads resolved block by block."""

    command: ByteArray
    """Commands, with changes between equal threads of a PES or PEC turned into stops."""
    threads: tuple[Thread, ...]
    known: bool
    """False where the file names no colours at all."""
    warnings: tuple[str, ...]


def resolve(
    parsed: Parsed, data: bytes, extension: str, command: ByteArray, extra: IntArray
) -> BlockThreads:
    """Return the thread of each colour block.

    Gaps get placeholders and a warning, threads beyond the last block are dropped with one.
    """
    listed = [_thread(t) for t in parsed.threads]
    if extension in CATALOGUE_UNKNOWN:
        listed = []
    if extension in ("pes", "pec"):
        command, listed = _without_stops(_paired(data, _pes_header(data)), command)
    if extension == "tbf":
        listed = _by_needle(listed, command, extra)
    changes = block_changes(command)
    return _filled(listed, command, len(changes) + 1)


def block_changes(command: ByteArray) -> IntArray:
    """(k,) records that open a colour block after the first, as `Stream.block_of_record` has it."""
    change = np.isin(command, (Command.COLOR_CHANGE, Command.NEEDLE_SET))
    if len(command) and command[0] == Command.NEEDLE_SET:
        change[0] = False
    return np.flatnonzero(change).astype(np.int32)


def needle_of(data: IntArray) -> IntArray:
    """Return the needle numbers held in `Stream.data`, -1 where a record states none."""
    return ((data >> 8) & 0xFF) - 1


def _thread(raw: RawThread | None) -> Thread | None:
    return Thread(raw.rgb, raw.name, raw.number, raw.brand) if raw else None


def _filled(listed: Sequence[Thread | None], command: ByteArray, blocks: int) -> BlockThreads:
    known = any(t is not None for t in listed)
    found = [*listed[:blocks], *[None] * (blocks - len(listed))]
    missing = sum(t is None for t in found)
    warnings = []
    if known and missing:
        warnings.append(f"{missing} of {blocks} thread colours are not in the file: placeholders")
    if not known:
        warnings.append("the file names no thread colours: placeholders")
    if len(listed) > blocks:
        warnings.append(f"{len(listed)} threads for {blocks} colour blocks: the rest left out")
    threads = tuple(t or placeholder(b) for b, t in enumerate(found))
    return BlockThreads(command, threads, known, tuple(warnings))


_PES_HEADERS = {
    b"0050": "read_pes_header_version_5",
    b"0055": "read_pes_header_version_5",
    b"0056": "read_pes_header_version_5",
    b"0060": "read_pes_header_version_6",
    b"0070": "read_pes_header_version_7",
    b"0080": "read_pes_header_version_8",
    b"0090": "read_pes_header_version_9",
    b"0100": "read_pes_header_version_10",
}
"""pyembroidery's readers of the headers that list threads."""


def _pes_header(data: bytes) -> list[Thread | None]:
    """Return the threads of a PES header as they stand there, whichever block they sew."""
    from pyembroidery import EmbPattern, PesReader

    reader = _PES_HEADERS.get(data[4:8]) if data.startswith(b"#PES") else None
    found: list[Any] = []
    if reader is not None:
        source = io.BytesIO(data)
        source.seek(12)
        getattr(PesReader, reader)(source, EmbPattern(), found)
    return [_thread(raw_thread(t)) for t in found]


def _paired(data: bytes, listed: list[Thread | None]) -> list[Thread | None]:
    """Return the thread of each change and stop of a PES or PEC file.

    The header's list is in sewing order only where the writer kept it so; the palette numbers of
    the PEC part always are. Checked on 32 public files: 25 by the first clause, 1 by the second,
    6 by the third.
    """
    numbers, colours = _pec_colours(data)
    if not numbers:
        return listed
    by_rgb: dict[int, list[Thread]] = {}
    for thread in dict.fromkeys(t for t in listed if t):
        by_rgb.setdefault(thread.rgb, []).append(thread)
    if all(len(by_rgb.get(c.rgb, ())) == 1 for c in colours):
        return [by_rgb[c.rgb][0] for c in colours]
    if len(listed) == len(numbers):
        given: dict[int, int] = {}
        pairs = [(n, t.rgb) for n, t in zip(numbers, listed, strict=True) if t]
        if all(given.setdefault(n, rgb) == rgb for n, rgb in pairs) or _repeats(data, pairs):
            return listed
    return list(colours)


def _repeats(data: bytes, pairs: list[tuple[int, int]]) -> bool:
    """Tell whether the file ends with the header's colours block by block, as version 6 does:
    with more colours than the palette has, only that shows the order."""
    colours = b"".join(rgb.to_bytes(3, "little") for _, rgb in pairs)
    return bool(pairs) and data.endswith(colours + b"\0\0")


def _pec_colours(data: bytes) -> tuple[list[int], list[Thread]]:
    """Return (palette numbers, their colours), one for each change and stop, from the first on."""
    from pyembroidery.EmbThreadPec import get_thread_set

    palette = get_thread_set()
    start = 8 if data.startswith(b"#PEC") else int.from_bytes(data[8:12], "little")
    count = data[start + 48]
    numbers = [] if count == 0xFF else list(data[start + 49 : start + 50 + count])
    # Entry 0 of the palette is empty; number 0 means the first colour.
    chosen = [palette[n % len(palette)] or palette[1] for n in numbers]
    return numbers, [Thread(t.color & 0xFFFFFF, t.description, t.catalog_number) for t in chosen]


def _without_stops(
    entries: list[Thread | None], command: ByteArray
) -> tuple[ByteArray, list[Thread | None]]:
    """The palette has an entry for every stop as well: a change to the same thread is a stop."""
    command = command.copy()
    kept = entries[:1]
    for k, at in enumerate(np.flatnonzero(command == Command.COLOR_CHANGE).tolist(), 1):
        thread = entries[k] if k < len(entries) else None
        if thread is not None and kept and thread == kept[-1]:
            command[at] = Command.STOP
        else:
            kept.append(thread)
    return command, kept


def is_by_block(needles: Sequence[int]) -> bool:
    """Tell whether needles are numbered in a circle, so that a thread list goes by block."""
    top = max(needles, default=0)
    return all(n == k % top + 1 for k, n in enumerate(needles))


def _by_needle(
    listed: list[Thread | None], command: ByteArray, extra: IntArray
) -> list[Thread | None]:
    """A TBF lists the threads on the needles; some writers list them by block all the same."""
    needles = needle_of(extra[command == Command.NEEDLE_SET]).tolist()
    if len(listed) == len(needles) and is_by_block(needles):
        return listed
    return [listed[n - 1] if 0 < n <= len(listed) else None for n in needles]

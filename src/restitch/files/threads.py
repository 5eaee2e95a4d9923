"""Which thread sews which colour block: the rule for PES files, and a fixed palette for gaps.

A PES header lists threads, but not always in sewing order; the palette numbers of its PEC part
are in sewing order. Checked on 32 public files: 25 by the first clause, 1 by the second, 6 by the
third.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from restitch.model import ByteArray, Command, Thread

PLACEHOLDERS = tuple(
    Thread(rgb, f"thread {n}")
    for n, rgb in enumerate(
        (
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
        ),
        1,
    )
)
"""Colours for blocks whose thread the file does not name: fixed, so the same file always gives
the same bytes (our choice)."""


def placeholder(block: int) -> Thread:
    """Return the placeholder thread of a colour block; the first 16 differ, all names do."""
    thread = PLACEHOLDERS[block % len(PLACEHOLDERS)]
    return Thread(thread.rgb, f"thread {block + 1}")


def plain_thread(thread: Any) -> Thread | None:
    """Return a pyembroidery thread as ours, None where it has no colour."""
    if thread is None or getattr(thread, "color", None) is None:
        return None

    def text(value: Any) -> str:
        return str(value).strip() if value else ""

    return Thread(
        int(thread.color) & 0xFFFFFF,
        text(thread.description),
        text(thread.catalog_number),
        text(thread.brand),
    )


def pes_threads(
    data: bytes, listed: Sequence[Any], command: ByteArray
) -> tuple[list[Thread | None], list[int]]:
    """Return (thread of each colour change or stop from the start on, records of those changes).

    ``listed``: threads of the header as pyembroidery lists them, before stops are told apart.
    """
    from pyembroidery.EmbThreadPec import get_thread_set

    palette = get_thread_set()
    start = 8 if data.startswith(b"#PEC") else int.from_bytes(data[8:12], "little")
    count = data[start + 48] if len(data) > start + 48 else 0xFF
    numbers = [] if count == 0xFF else list(data[start + 49 : start + 50 + count])
    colours = [plain_thread(palette[n % len(palette)] or palette[1]) for n in numbers]
    threads = [plain_thread(t) for t in listed]
    changes = np.flatnonzero(np.isin(command, (Command.COLOR_CHANGE, Command.STOP))).tolist()
    return _paired(numbers, colours, threads), changes


def _paired(
    numbers: Sequence[int], colours: Sequence[Thread | None], threads: Sequence[Thread | None]
) -> list[Thread | None]:
    by_rgb: dict[int, list[Thread]] = {}
    for thread in dict.fromkeys(t for t in threads if t):
        by_rgb.setdefault(thread.rgb, []).append(thread)
    if colours and all(c is not None and len(by_rgb.get(c.rgb, ())) == 1 for c in colours):
        return [by_rgb[c.rgb][0] for c in colours if c is not None]
    if len(threads) == len(numbers):
        given: dict[int, Thread | None] = {}
        pairs = zip(numbers, threads, strict=True)
        if all(given.setdefault(n, t) == t for n, t in pairs):
            return list(threads)
    return list(colours)

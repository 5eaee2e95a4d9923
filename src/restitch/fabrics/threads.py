"""A list of threads for files that store no colours, or the wrong ones.

One thread a line: numbers of needles or colour blocks, a name, and a colour or a catalogue
number, separated by commas::

    # needle or block, name, colour or catalogue number
    1 4, navy,      #14285a
    2,   rope gold, 1070
    3,   white,     #f4f4ee, 1001

Two lines with the same name, colour and number are the same thread; so are two numbers on one
line. Blank lines and lines that begin with ``#`` are skipped.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from restitch.errors import UsageError
from restitch.fabrics.toml_text import read_text
from restitch.model import Command, Stream, Thread

MOST = 999
"""No machine or design counts further."""

_RGB = re.compile(r"#?([0-9a-fA-F]{6})$")
_NUMBER = re.compile(r"#?[\w./-]{1,24}$")


class ListedThread(NamedTuple):
    """One thread as a list names it."""

    name: str
    rgb: int | None = None
    """0xRRGGBB, or None where only a catalogue number is given."""
    number: str = ""
    """Catalogue number."""


def load_threads(path: Path | str) -> Mapping[int, ListedThread]:
    """Return the thread of each needle or colour block, by its number from 1.

    A wrong line is a `UsageError` with file and line.
    """
    found: dict[int, ListedThread] = {}
    lines: dict[int, int] = {}
    for at, line in enumerate(read_text(Path(path)).splitlines(), 1):
        text = line.strip()
        if not text or text.startswith("#"):
            continue
        try:
            numbers, thread = _parsed(text)
        except ValueError as error:
            raise UsageError(f"{path}:{at}: {error}") from None
        for number in numbers:
            if number in found:
                raise UsageError(f"{path}:{at}: {number} is listed already in line {lines[number]}")
            found[number], lines[number] = thread, at
    if not found:
        raise UsageError(f"{path}: lists no thread; a line reads: 1, navy, #14285a")
    return found


def threads_of_needles(needles: tuple[str, ...]) -> Mapping[int, ListedThread]:
    """Return the threads of a profile's needle table: names, #rrggbb or catalogue numbers."""
    return {at: _named(text.strip()) for at, text in enumerate(needles, 1)}


def with_threads(stream: Stream, listed: Mapping[int, ListedThread]) -> Stream:
    """Return the stream with its blocks' threads taken from the list, so that equal ones merge.

    Needle numbers count where the file stores them (``NEEDLE_SET``), block numbers elsewhere. A
    block that the list leaves out keeps its own thread; so does every block of an empty list.
    Two blocks with the same listed thread get equal threads.
    """
    given: dict[ListedThread, Thread] = {}
    threads = []
    numbers = _numbers(stream)
    for thread, number in zip(stream.threads, numbers, strict=True):
        listed_thread = listed.get(number)
        if listed_thread is None:
            threads.append(thread)
            continue
        rgb = thread.rgb if listed_thread.rgb is None else listed_thread.rgb
        named = Thread(rgb, listed_thread.name, listed_thread.number)
        threads.append(given.setdefault(listed_thread, named))
    known = stream.colours_known or all(number in listed for number in numbers)
    if not known:
        threads = _kept_apart(threads, [number in listed for number in numbers])
        known = bool(given)
    return replace(stream, threads=tuple(threads), colours_known=known)


def _kept_apart(threads: list[Thread], listed: list[bool]) -> list[Thread]:
    """Placeholders of blocks not listed get a name of their own: nothing says they are equal."""
    return [
        thread if is_listed else replace(thread, name=f"block {at}, not listed")
        for at, (thread, is_listed) in enumerate(zip(threads, listed, strict=True), 1)
    ]


def _numbers(stream: Stream) -> list[int]:
    """Needle number of each block where the file stores them, else the block number from 1."""
    blocks = list(range(1, len(stream.threads) + 1))
    at = np.flatnonzero(stream.command == Command.NEEDLE_SET)
    if stream.data is None or not len(at):
        return blocks
    # pyembroidery keeps the needle in the third byte of the command (thread | needle << 8)
    needles = (stream.data[at] >> 8) & 0xFF
    of_block = dict(zip(stream.block_of_record[at].tolist(), needles.tolist(), strict=True))
    return [of_block.get(block - 1) or block for block in blocks]


def _parsed(text: str) -> tuple[list[int], ListedThread]:
    """Numbers and thread of one line; a ValueError says what is wrong."""
    cells = [cell.strip() for cell in re.split(r"[,;\t]", text)]
    if not 2 <= len(cells) <= 4:
        raise ValueError(
            "a line reads: needle or block, name, colour or catalogue number (1, navy, #14285a)"
        )
    numbers = [_count(word) for word in cells[0].split()]
    if not numbers:
        raise ValueError("the line must begin with a needle or block number")
    rgb, number = None, ""
    for cell in filter(None, cells[2:]):
        colour = _RGB.match(cell)
        if colour and (cell.startswith("#") or not cell.isdigit()):
            rgb = int(colour[1], 16)
        elif _NUMBER.match(cell) and not cell.startswith("#"):
            number = cell
        else:
            raise ValueError(f"'{cell}' is neither a colour (#14285a) nor a catalogue number")
    if not cells[1] and rgb is None and not number:
        raise ValueError("the thread has no name, colour or catalogue number")
    return numbers, ListedThread(cells[1], rgb, number)


def _count(word: str) -> int:
    if not (word.isascii() and word.isdigit() and 1 <= int(word) <= MOST):
        raise ValueError(f"'{word}' is not a needle or block number from 1 to {MOST}")
    return int(word)


def _named(text: str) -> ListedThread:
    colour = _RGB.match(text)
    if colour and text.startswith("#"):
        return ListedThread("", int(colour[1], 16))
    if any(c.isdigit() for c in text) and _NUMBER.match(text):
        return ListedThread("", None, text)
    return ListedThread(text)

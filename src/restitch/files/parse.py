"""One call of pyembroidery's reader on bytes, with the answer in plain values.

Imports nothing but the standard library and pyembroidery: the reader process runs this file too,
and its start must cost little.
"""

from __future__ import annotations

import io
import random
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache, lru_cache
from itertools import chain, count, groupby
from math import inf
from typing import Any, NamedTuple

TEXT_FORMATS = ("csv", "json")
_STITCH = 0
_NO_NAME = "Untitled"
"""What the library writes where a design has no name."""
_JUMP_ON = ("pes", "pec", "xxx")
"""Formats whose reader jumps from the last stitch to pictures or colours."""


class ParseFailed(Exception):  # noqa: N818 - the answer to a damaged file, not a mistake of ours
    """What is wrong with the bytes, in a few words without the file's name."""


class MovesWithoutEnd(Exception):  # noqa: N818 - a file may be so; it is read under limits
    """More moves in a row without a stitch than `parse` may take."""


class RawThread(NamedTuple):
    """A thread as the reader gives it."""

    rgb: int
    name: str = ""
    number: str = ""
    brand: str = ""


class Parsed(NamedTuple):
    """What the reader found."""

    rows: Any
    """(n, 3) numbers x, y, command: a list of lists, or an array of doubles, row by row."""
    threads: list[RawThread | None]
    """As listed in the file, before equal neighbours become stops."""
    name: str = ""
    stopped: int = 0
    """Offset at which the reader took the stitches to end."""


@cache
def readers() -> dict[str, Any]:
    """Return pyembroidery's reader module of each extension."""
    import pyembroidery

    remember(pyembroidery.DstReader, "decode_dx", "decode_dy")
    formats = pyembroidery.EmbPattern.supported_formats()
    return {f["extension"]: f["reader"] for f in formats if f.get("reader")}


def remember(module: Any, *names: str) -> None:
    """Let pure functions of the library remember their answers: a design's few thousand different
    moves come many times each (a dst file is read in half the time, written in less)."""
    for name in names:
        function = getattr(module, name)
        if not hasattr(function, "cache_info"):
            setattr(module, name, lru_cache(maxsize=1 << 14)(function))


def parse(data: bytes, extension: str, most_moves: float = inf) -> Parsed:
    """Return what the reader of a format finds in the bytes. Raises `ParseFailed`.

    Guessing trims takes time with the square of the moves in a row: more than ``most_moves`` raise
    `MovesWithoutEnd`.
    """
    source = _source(data, extension)
    pattern = listening_pattern(most_moves)
    try:
        with _settled_chance():
            readers()[extension].read(source, pattern)
    except MovesWithoutEnd:
        raise
    except (MemoryError, RecursionError):
        raise ParseFailed("needs more memory than allowed to unpack") from None
    except Exception as error:  # a damaged file raises whatever the reader stumbles over
        raise ParseFailed(_cause(error, extension, source)) from None
    if extension == "json" and not _only_numbers(pattern.stitches):
        raise ParseFailed("a coordinate is not a number")
    return Parsed(
        pattern.stitches,
        [raw_thread(t) for t in pattern.threadlist],
        _design_name(pattern.extras),
        _stopped(source, extension),
    )


def _only_numbers(rows: list[Any]) -> bool:
    return set(map(type, chain.from_iterable(rows))) <= {int, float}


class _Watched(io.BytesIO):
    """Bytes that remember where the reader jumped from: there it took the stitches to end."""

    left = 0
    """Where the last jump to another place of the file started from."""

    def seek(self, offset: int, whence: int = 0) -> int:
        self.left = self.tell()
        return super().seek(offset, whence)


class _Lines:
    """Lines of a text that count themselves, for messages."""

    def __init__(self, text: str) -> None:
        self.number = 0
        self._lines = iter(io.StringIO(text, newline=""))
        self._text = text

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        self.number += 1
        return next(self._lines)

    def read(self) -> str:
        """The whole text (the JSON reader takes it at once)."""
        return self._text


def _stopped(source: Any, extension: str) -> int:
    if extension in TEXT_FORMATS:
        return 0
    left: int = source.left
    return left if extension in _JUMP_ON else source.tell()


def _source(data: bytes, extension: str) -> Any:
    if extension not in TEXT_FORMATS:
        return _Watched(data)
    try:
        return _Lines(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise ParseFailed("is not a text file") from None


def listening_pattern(most_moves: float = inf) -> Any:
    """Return an empty pattern of the library that hears what its readers find in a file."""
    from pyembroidery import EmbPattern

    class Listening(EmbPattern):  # type: ignore[misc]
        """Keeps colour changes and the thread list as they stand in the file."""

        def interpolate_duplicate_color_as_stop(self) -> None:
            pass

        def interpolate_trims(self, *rules: Any) -> None:
            """Guess the trims of each run of moves by itself. A stitch before it is all that
            the library's method need know, and in one long list every trim that it puts in or
            takes out moves all that follows."""
            rows: list[Any] = self.stitches  # type: ignore[has-type]
            done: list[Any] = []
            here = 0
            for first, stop in _moves(rows):
                if stop - first > most_moves:
                    raise MovesWithoutEnd
                self.stitches = rows[first:stop]
                super().interpolate_trims(*rules)
                done += rows[here:first]
                done += self.stitches
                here = stop
            self.stitches = done + rows[here:]

    return Listening()


def _moves(rows: list[Any]) -> Iterator[tuple[int, int]]:
    """Yield (first, stop) of the rows that hold each run of anything but stitches and the stitch
    before it."""
    places = (i for i, row in enumerate(rows) if row[2] != _STITCH)
    nth = count()
    for _, together in groupby(places, lambda place: place - next(nth)):
        run = list(together)
        yield max(run[0] - 1, 0), run[-1] + 1


@contextmanager
def _settled_chance() -> Iterator[None]:
    """Some files ask for a random colour: let the same file always get the same one."""
    state = random.getstate()
    random.seed(0)
    try:
        yield
    finally:
        random.setstate(state)


def _cause(error: Exception, extension: str, source: Any) -> str:
    if extension == "csv" and isinstance(error, ValueError | IndexError | KeyError):
        if isinstance(error, ValueError):
            return f"coordinate on line {source.number} is not a number"
        return f"line {source.number} cannot be understood"
    return f"is damaged or not a {extension.upper()} file ({type(error).__name__} while reading)"


def raw_thread(thread: Any) -> RawThread | None:
    """Return a thread of the library in plain values, None where it states no colour."""
    colour = getattr(thread, "color", None)
    if not isinstance(colour, int):
        return None
    words = (_text(thread.description), _text(thread.catalog_number), _text(thread.brand))
    return RawThread(colour & 0xFFFFFF, *words)


def _text(value: Any) -> str:
    return str(value).strip() if isinstance(value, str | int) else ""


def _design_name(extras: dict[Any, Any]) -> str:
    # A PES file states the name in full as "name"; "Name" is the label of eight letters.
    name = _text(extras.get("name") or extras.get("Name"))
    return "" if name == _NO_NAME else name

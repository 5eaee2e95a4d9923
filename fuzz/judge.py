"""What became of one damaged file: refused, read, or one of the things that must not happen."""

from __future__ import annotations

import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from restitch.errors import UnreadableError, WriteError
from restitch.files import FORMATS, ReaderProcess, decode, encode
from restitch.model import Command, Stream

LIMIT_S = 15
"""Longer than the reader's own limit of 10 s: reaching it is a hang."""

MOST_UNITS = 6000
"""600 mm, the largest hoop that reading allows."""

NO_END = ("exp", "sew", "csv", "mit", "tap")
"""Formats in which a cut between two records cannot be seen."""


class Fate(StrEnum):
    """What became of a mutant."""

    REFUSED = "refused"
    WARNED = "read with a warning"
    READ = "read"
    CRASH = "crash"
    HANG = "hang"
    WRONG = "wrong output accepted"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The fate of one mutant."""

    fate: Fate
    why: str
    seconds: float


class Late(BaseException):
    """The time limit has passed."""


def judge(
    kind: str, sound: bytes, data: bytes, fmt: str, reader: ReaderProcess, stitches: int
) -> Verdict:
    """Read one damaged file and, where it is accepted, write what was read."""
    start = time.perf_counter()
    try:
        with _limited():
            fate, why = _fate(kind, sound, data, fmt, reader, stitches)
    except Late:
        fate, why = Fate.HANG, "no answer"
    except Exception as error:  # what the run looks for
        fate, why = Fate.CRASH, f"{type(error).__name__}: {error}"
    return Verdict(fate, why, time.perf_counter() - start)


@contextmanager
def _limited() -> Iterator[None]:
    def late(*_: object) -> None:
        raise Late

    if not hasattr(signal, "SIGALRM"):
        yield
        return
    signal.signal(signal.SIGALRM, late)
    signal.alarm(LIMIT_S)
    try:
        yield
    finally:
        signal.alarm(0)


def _fate(
    kind: str, sound: bytes, data: bytes, fmt: str, reader: ReaderProcess, stitches: int
) -> tuple[Fate, str]:
    try:
        stream = decode(data, fmt, f"mutant.{fmt}", reader=reader)
    except UnreadableError as error:
        text = str(error)
        one_line = text.startswith(f"mutant.{fmt}: ") and "\n" not in text and len(text) < 300
        return (Fate.REFUSED, text) if one_line else (Fate.CRASH, f"message: {text}")
    problem = _broken(stream) or _badly_written(stream, fmt)
    doubts = [w for w in stream.warnings if "names no thread colours" not in w]
    if kind == "cut" and fmt not in NO_END and len(stream.stitch_index) < stitches and not doubts:
        problem = problem or "cut file read as whole"
    if problem:
        return Fate.WRONG, problem
    return (Fate.WARNED, doubts[0]) if doubts else (Fate.READ, "")


def _broken(stream: Stream) -> str:
    """What an accepted stream must never be."""
    if np.ptp(stream.xy, axis=0).max() > MOST_UNITS:
        return "larger than any hoop"
    if not np.isin(stream.command, [int(c) for c in Command]).all():
        return "unknown command"
    if len(np.unique(stream.xy[stream.stitch_index], axis=0)) < 2:
        return "nothing to sew"
    if len(stream.threads) != stream.block_of_record[-1] + 1:
        return "threads do not match colour blocks"
    return ""


def _badly_written(stream: Stream, fmt: str) -> str:
    """Write what was read and compare needle points by a way of our own."""
    target = fmt if fmt in FORMATS else "dst"
    try:
        encoded = encode(stream, target)
    except WriteError:
        return ""  # refused in one line, nothing written
    again = decode(encoded.data, target, "again")
    ends = np.flatnonzero(stream.command == Command.END)
    stop = ends[0] if len(ends) else len(stream)
    points = stream.xy[:stop][stream.command[:stop] == Command.STITCH]
    if not np.array_equal(points, again.xy[again.stitch_index]):
        return f"other needle points in {target}"
    return "" if encoded.data == encode(stream, target).data else f"other bytes in {target}"

"""A file read: its bytes, its stream and the objects in it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from restitch.model import SewnObject, Stream

if TYPE_CHECKING:
    from restitch.fabrics.threads import ListedThread
    from restitch.files import ReaderProcess


class Reading(NamedTuple):
    """What a file holds."""

    data: bytes
    stream: Stream
    objects: tuple[SewnObject, ...]


def read_objects(
    path: Path,
    threads: Mapping[int, ListedThread] | None = None,
    reader: ReaderProcess | None = None,
) -> Reading:
    """Return what the file at a path holds.

    ``threads``: the thread of each needle or block, where a list names them. ``reader``: a warm
    process for files that must be parsed apart. Raises `UnreadableError` or `UsageError`.
    """
    from restitch.files import decode, extension_of, read_bytes
    from restitch.infer import infer

    data = read_bytes(path)
    stream = listed(decode(data, extension_of(path), path.name, reader=reader), threads)
    return Reading(data, stream, infer(stream))


def listed(stream: Stream, threads: Mapping[int, ListedThread] | None) -> Stream:
    """Return the stream with the threads that a list names."""
    if not threads:
        return stream
    from restitch.fabrics.threads import with_threads

    return with_threads(stream, threads)

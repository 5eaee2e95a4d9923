"""A file read: its bytes, its stream, the objects in it, and what is to be seen of them.

Loads nothing before it is asked: a copy of the process may begin here while the rest of the house
is still being loaded (`restitch.aside`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from restitch.fabrics.threads import ListedThread
    from restitch.files import ReaderProcess
    from restitch.model import Finding, SewnObject, Stream
    from restitch.rescue_file import Settings
    from restitch.rounds import AsFound


class Reading(NamedTuple):
    """What a file holds."""

    data: bytes
    stream: Stream
    objects: tuple[SewnObject, ...]


class Seen(NamedTuple):
    """What is to be seen of a source before anything is done to it."""

    findings: tuple[Finding, ...]
    found: AsFound


def first_look(
    source: Path, asked: Callable[[], Settings], reader: ReaderProcess | None = None
) -> Iterator[Any]:
    """Yield the `Reading` of a file, then what is `Seen` of it.

    ``asked``: gives the settings. ``reader`` and errors as in `read_objects`.
    """
    reading = read_objects(source, reader)
    yield reading
    from restitch.check import check
    from restitch.rounds import as_found

    settings = asked()
    stream = listed(reading.stream, settings.threads)
    findings = check(stream, reading.objects, settings.profile)
    yield Seen(findings, as_found(stream, reading.objects))


def read_objects(path: Path, reader: ReaderProcess | None = None) -> Reading:
    """Return what the file at a path holds.

    ``reader``: a warm process for files that must be parsed apart. Raises `UnreadableError`.
    """
    from restitch.files import decode, extension_of, read_bytes
    from restitch.infer import infer

    data = read_bytes(path)
    stream = decode(data, extension_of(path), path.name, reader=reader)
    return Reading(data, stream, infer(stream))


def listed(stream: Stream, threads: Mapping[int, ListedThread]) -> Stream:
    """Return the stream with the threads that a list names, by needle or block; objects do not
    depend on them."""
    if not threads:
        return stream
    from restitch.fabrics.threads import with_threads

    return with_threads(stream, threads)

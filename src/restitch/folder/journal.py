"""The journal of a folder: append-only records that survive a kill at any byte.

One record is one line: a checksum, then JSON. A line cut short or damaged is not a record; the
next run starts a new line after it. Only one run may hold the journal, and only that run writes.
"""

from __future__ import annotations

import json
import os
import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self

from restitch.errors import WriteError
from restitch.folder.results import FileResult

JOURNAL_NAME = ".restitch-journal"


@dataclass(frozen=True, slots=True)
class Entry:
    """The last word of the journal on one file."""

    key: str
    """Fingerprint of version, profile and decisions."""
    source_sha256: str
    result: FileResult | None = None
    """None: begun, no result known; the target may or may not be there."""


class Journal:
    """The journal of a target folder, held by one run. A context manager."""

    def __init__(self, folder: Path) -> None:
        """Open (or begin) the journal; raises `WriteError` where that is not possible."""
        path = folder / JOURNAL_NAME
        try:
            self._file = path.open("a+b", buffering=0)
        except OSError as error:
            raise WriteError(f"{path}: cannot be written ({_reason(error)})") from None
        try:
            hold(self._file)
        except OSError:
            self._file.close()
            raise WriteError(f"{folder}: another run is writing there; wait for it") from None
        self.path = path
        self.entries = self._read()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()

    def begin(self, path: str, key: str, source_sha256: str) -> None:
        """Note that a target that was not there (or is ours) is about to be written."""
        self._append({"path": path, "key": key, "source": source_sha256})
        self.entries[path] = Entry(key, source_sha256)

    def finish(self, result: FileResult, key: str, source_sha256: str) -> None:
        """Note a result."""
        row = {"path": result.path, "key": key, "source": source_sha256}
        self._append({**row, "result": result.document()})
        self.entries[result.path] = Entry(key, source_sha256, result)

    def _append(self, row: dict[str, object]) -> None:
        text = json.dumps(row, ensure_ascii=True, separators=(",", ":")).encode()
        try:
            left = memoryview(b"%08x " % zlib.crc32(text) + text + b"\n")
            while left:  # unbuffered, so that nothing is left to be written when it is closed
                left = left[self._file.write(left) :]
            os.fsync(self._file.fileno())
        except OSError as error:
            raise WriteError(
                f"{self.path}: cannot be written ({_reason(error)}); run again to go on"
            ) from None

    def _read(self) -> dict[str, Entry]:
        self._file.seek(0)
        data = self._file.read()
        if data and not data.endswith(b"\n"):
            self._file.write(b"\n")
        entries: dict[str, Entry] = {}
        for line in data.split(b"\n"):
            row = _row(line)
            if row is not None:
                entries[row[0]] = row[1]
        return entries


def _row(line: bytes) -> tuple[str, Entry] | None:
    """A record, or None for a line that is not whole."""
    mark, _, text = line.partition(b" ")
    if mark != b"%08x" % zlib.crc32(text):
        return None
    try:
        row = json.loads(text)
        found = row.get("result")
        result = None
        if found is not None:
            result = FileResult(**{**found, "warnings": tuple(found["warnings"])})
            result = replace(result, fresh=False)
        return row["path"], Entry(row["key"], row["source"], result)
    except (ValueError, KeyError, TypeError):  # written by another version
        return None


def hold(file: BinaryIO) -> None:
    """Take the file for this process alone, until it is closed or the process ends.

    Raises OSError where another holds it. On a system with neither kind of lock: no lock.
    """
    try:
        import fcntl
    except ImportError:
        _hold_region(file)
        return
    fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _hold_region(file: BinaryIO) -> None:
    """The lock of Windows: one byte far behind the end of the file."""
    try:
        import msvcrt
    except ImportError:
        return
    file.seek(1 << 30)
    msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
    file.seek(0, os.SEEK_END)


def _reason(error: OSError) -> str:
    return (error.strerror or type(error).__name__).lower()

"""Whole files or none: bytes go to a temporary file beside the target, then replace it."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from os.path import exists, isdir, samefile
from pathlib import Path

from restitch.errors import UsageError, WriteError
from restitch.files.encode import encode
from restitch.files.read import extension_of, unchanged
from restitch.model import Stream

WINDOWS = os.name == "nt"

TEMPORARY = (".restitch-", ".tmp")
"""How the names of temporary files begin and end."""

_TRIES = 5
"""Renames tried: a virus scanner may hold a new file for a moment (Windows)."""


def check_target(path: Path, *, source: Path | None = None, replace: bool = False) -> None:
    """Raise unless a file may be written at ``path``.

    Refused: the source itself (links count; it need not exist), a folder, an existing file without
    ``replace``, a folder that does not exist, and a name that the system does not take.
    """
    # a name too long or a folder closed to us must be known before anything is put in place
    with _failures_told(path), suppress(FileNotFoundError, NotADirectoryError, ValueError):
        path.lstat()
    if source is not None and exists(path) and exists(source) and samefile(path, source):
        raise UsageError(f"{path}: is the source; the source is never changed")
    if isdir(path):
        raise WriteError(f"{path}: is a folder; name the new file")
    if exists(path) and not replace:
        raise WriteError(f"{path}: exists already; --replace allows it to be replaced")
    if not isdir(path.parent):
        raise WriteError(f"{path.parent}: no such folder")


def write_stream(
    stream: Stream, path: Path, *, source: Path | None = None, replace: bool = False
) -> tuple[str, ...]:
    """Write a stream in the format of the path's extension, whole or not at all.

    Returns what the format cannot carry. Raises `WriteError`; then nothing new remains.
    """
    check_target(path, source=source, replace=replace)
    try:
        encoded = encode(stream, extension_of(path))
    except WriteError as error:
        raise WriteError(f"{path.name}: {error}") from None
    write_bytes(encoded.data, path, source=source, replace=replace)
    return encoded.warnings


def write_bytes(
    data: bytes,
    path: Path,
    *,
    source: Path | None = None,
    source_sha256: str = "",
    replace: bool = False,
) -> None:
    """Write a file whole or not at all. Raises `WriteError`; then nothing new remains.

    ``source_sha256``: what the source must still hold when all is ready to be put in place.
    """
    with staged(data, path, source=source, source_sha256=source_sha256, replace=replace):
        pass


@contextmanager
def staged(
    data: bytes,
    path: Path,
    *,
    source: Path | None = None,
    source_sha256: str = "",
    replace: bool = False,
) -> Iterator[None]:
    """Hold a file ready, flushed to disk under another name; put it in place when the block ends
    well. As `write_bytes`, for files that belong together."""
    check_target(path, source=source, replace=replace)
    temporary: str | None = None
    try:
        with _failures_told(path):
            handle, temporary = tempfile.mkstemp(TEMPORARY[1], TEMPORARY[0], path.parent)
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(temporary, 0o666 & ~_umask())
        yield
        check_target(path, source=source, replace=replace)
        if source is not None and source_sha256 and not unchanged(source, source_sha256):
            raise WriteError(
                f"{source}: changed while it was being read; nothing written, run again"
            )
        with _failures_told(path):
            _rename(temporary, path)
            temporary = None
            _settle(path.parent)
    finally:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)


@contextmanager
def _failures_told(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise WriteError(f"{path}: cannot be written ({reason}); nothing written") from None


def make_folder(folder: Path) -> None:
    """Make a folder with its parents; raises `WriteError`."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise WriteError(f"{folder}: cannot be made ({reason})") from None


def clear_leftovers(folder: Path) -> int:
    """Remove temporary files that a killed run left in a folder; return how many.

    Call it only where no other run writes. One that cannot be removed now (Windows: its process
    is still ending) is left to the next call.
    """
    removed = 0
    for file in folder.glob(f"{TEMPORARY[0]}*{TEMPORARY[1]}"):
        with suppress(OSError):
            file.unlink(missing_ok=True)
            removed += 1
    return removed


def _settle(folder: Path) -> None:
    """Let the new name survive a power cut, where the system can flush a folder (POSIX)."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)


def _rename(temporary: str, path: Path) -> None:
    for attempt in range(_TRIES):
        try:
            os.replace(temporary, path)
            return
        except PermissionError:
            if not WINDOWS or attempt == _TRIES - 1:
                raise
            time.sleep(0.05 * 2**attempt)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask

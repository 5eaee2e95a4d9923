"""Whole files or none: bytes go to a temporary file beside the target, then replace it."""

from __future__ import annotations

import os
import tempfile
import time
from pathlib import Path

from restitch.errors import UsageError, WriteError

_TRIES = 5
"""Renames tried: a virus scanner may hold a new file for a moment (Windows)."""


def check_target(path: Path, *, source: Path | None = None, replace: bool = False) -> None:
    """Raise unless a file may be written at ``path``.

    Refused: the source itself (links count), a folder, an existing file without ``replace``, and
    a folder that does not exist.
    """
    if source is not None and path.exists() and path.samefile(source):
        raise UsageError(f"{path}: is the source; the source is never changed")
    if path.is_dir():
        raise WriteError(f"{path}: is a folder; name the new file")
    if path.exists() and not replace:
        raise WriteError(f"{path}: exists already; --replace allows it to be replaced")
    if not path.parent.is_dir():
        raise WriteError(f"{path.parent}: no such folder")


def write_bytes(
    data: bytes, path: Path, *, source: Path | None = None, replace: bool = False
) -> None:
    """Write a file whole or not at all. Raises `WriteError`; then nothing new remains."""
    check_target(path, source=source, replace=replace)
    temporary: str | None = None
    try:
        handle, temporary = tempfile.mkstemp(prefix=".restitch-", dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, 0o666 & ~_umask())
        _rename(temporary, path)
        temporary = None
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise WriteError(f"{path}: cannot be written ({reason}); nothing written") from None
    finally:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)


def _rename(temporary: str, path: Path) -> None:
    for attempt in range(_TRIES):
        try:
            os.replace(temporary, path)
            return
        except PermissionError:
            if os.name != "nt" or attempt == _TRIES - 1:
                raise
            time.sleep(0.05 * 2**attempt)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask

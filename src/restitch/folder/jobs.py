"""Which files of a folder are to be done, and where each result goes."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from fnmatch import fnmatch
from pathlib import Path

from restitch.errors import UnreadableError, UsageError


@dataclass(frozen=True, slots=True)
class Job:
    """One file to rescue."""

    path: str
    """Place in the folder, with ``/`` on every system."""
    source: Path
    target: Path
    replace: bool = False
    """The target is a result of ours (or may be replaced by request)."""


def check_folders(source: Path, target: Path) -> None:
    """Raise unless the source is a folder and neither folder lies inside the other."""
    if not source.is_dir():
        raise UnreadableError(f"{source}: no such folder")
    if target.exists() and not target.is_dir():
        raise UsageError(f"{target}: is a file; a folder's results go to a folder")
    one, two = source.resolve(), target.resolve()
    if one == two:
        raise UsageError(f"{target}: is the source folder; results go to another one")
    if one in two.parents:
        raise UsageError(f"{target}: lies inside the source folder {source}; choose one outside")
    if two in one.parents:
        raise UsageError(f"{target}: holds the source folder {source}; choose one outside")


def find_jobs(
    source: Path, target: Path, include: tuple[str, ...] = (), exclude: tuple[str, ...] = ()
) -> tuple[Job, ...]:
    """Return the stitch files of a folder, sorted by their place in it.

    A pattern (``*.dst``, ``caps/*``) is matched against the place and against the bare name.
    Links to folders are not followed, hidden files and folders are left out. A folder that cannot
    be listed is a job that fails: what it holds must not be missing without a word.
    """
    from restitch.files import readable_extensions

    known = frozenset(readable_extensions())
    unlisted: list[OSError] = []
    places = [
        place
        for place in _places(source, unlisted)
        if Path(place).suffix.lower().lstrip(".") in known
        and (not include or _matches(place, include))
        and not _matches(place, exclude)
    ]
    places += [Path(error.filename).relative_to(source).as_posix() for error in unlisted]
    return tuple(Job(place, source / place, target / place) for place in sorted(places))


def _places(source: Path, unlisted: list[OSError]) -> Iterator[str]:
    for folder, folders, names in os.walk(source, onerror=unlisted.append):
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in names:
            if not name.startswith("."):
                yield (Path(folder) / name).relative_to(source).as_posix()


def _matches(place: str, patterns: tuple[str, ...]) -> bool:
    name = place.rpartition("/")[2]
    return any(fnmatch(place, p) or fnmatch(name, p) for p in patterns)

"""A file looked at ahead: while the command line that names it is still being understood.

A third of a short command is the start of the program. A wrong guess costs nothing but the work of
a copy of the process, which changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from functools import partial
from os.path import isfile
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from restitch.aside import Aside, Told

COMMANDS = ("fix", "check")
"""Those that take a file apart, which is worth a copy of the process."""
SHARED = ("numpy", "pyembroidery", "restitch.files", "restitch.infer")
"""What both sides need at once: loading it once is enough."""


class Look(NamedTuple):
    """A file that is being looked at."""

    source: Path
    answers: Iterator[Any]
    """Those of `first_look`; all but the first wait for the settings."""
    settings: Told
    aside: Aside
    """How it is done, and what comes after it may be."""


@contextmanager
def look_ahead(words: Sequence[str]) -> Iterator[Look | None]:
    """Begin to look at the file that the words of a command line seem to name, if any."""
    source = _guessed(words)
    with nullcontext() if source is None else look_at(source) as look:
        yield look


@contextmanager
def look_at(source: Path) -> Iterator[Look]:
    """Begin to look at a file, aside where a core is idle."""
    from restitch.aside import Told, as_cores_allow, load
    from restitch.reading import first_look

    load(SHARED)
    aside = as_cores_allow()
    with Told() as settings, aside(partial(first_look, source, settings.heard)) as answers:
        yield Look(source, answers, settings, aside)


def _guessed(words: Sequence[str]) -> Path | None:
    """The first file named, settings left out. What is no plain file may be read once only."""
    if not words or words[0] not in COMMANDS:
        return None
    files = (Path(word) for word in words[1:] if not word.startswith("-"))
    # `Path.is_file` would raise for what is too long for a name, or lies where nobody may look
    return next((f for f in files if f.suffix.lower() != ".toml" and isfile(f)), None)

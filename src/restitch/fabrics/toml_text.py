"""Reading a user's TOML so that every complaint names file and line.

`tomllib` tells the line of a syntax error only; for everything else the line is found by
scanning the text for the table header and the key.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from restitch.errors import UsageError

LARGEST_BYTES = 1 << 20
"""No settings file is larger; a stitch file given by mistake often is. Our choice."""

_HEADER = re.compile(r"^\s*\[\[?\s*(?P<name>[^\]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(r"^\s*(?P<key>(?:[\w-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*[\w\"'-]+)*)\s*=")
_SYNTAX_PLACE = re.compile(r" \(at line (\d+), column \d+\)$")


@dataclass(frozen=True, slots=True)
class TomlText:
    """A TOML file as text and as values."""

    path: Path
    text: str
    values: Mapping[str, Any]

    def line_of(self, *keys: str) -> int:
        """Line (from 1) where the value under the dotted keys is set.

        Falls back to the nearest table or key above it that the text names; 1 when none does.
        """
        lines = _lines_of_keys(self.text)
        for depth in range(len(keys), 0, -1):
            if keys[:depth] in lines:
                return lines[keys[:depth]]
        return 1

    def fail(self, keys: tuple[str, ...], what: str) -> NoReturn:
        """Raise the `UsageError` ``file:line: what`` for the value under the keys."""
        raise UsageError(f"{self.path}:{self.line_of(*keys)}: {what}")


def read_text(path: Path) -> str:
    """Return a user's text file; a `UsageError` says why it cannot be read."""
    try:
        with open(path, "rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise UsageError(f"{path}: cannot be read: {error.strerror or error}") from None
    if len(data) > LARGEST_BYTES:
        raise UsageError(f"{path}: over 1 MiB: this is not a settings file")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise UsageError(f"{path}:{line}: not UTF-8 text: save the file as UTF-8") from None


def read_toml(path: Path) -> TomlText:
    """Return a user's TOML file; a `UsageError` names file and line of a syntax error."""
    text = read_text(path)
    try:
        return TomlText(path, text, tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        place = _SYNTAX_PLACE.search(message)
        line = int(place[1]) if place else text.count("\n") + 1
        reason = _SYNTAX_PLACE.sub("", message).removesuffix(" (at end of document)")
        raise UsageError(f"{path}:{line}: not valid TOML: {reason}") from None


def nearest(word: str, valid: Iterable[str]) -> str:
    """Return "did you mean 'x'?" for the nearest valid word, else the list of them all."""
    known = sorted(valid)
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    if close:
        return f"did you mean '{close[0]}'?"
    return f"valid: {', '.join(known)}"


def _lines_of_keys(text: str) -> dict[tuple[str, ...], int]:
    """Line of every table header and key, by its path from the root; the first one counts."""
    found: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    quotes: str | None = None
    for number, line in enumerate(text.splitlines(), 1):
        if quotes:
            quotes = None if quotes in line else quotes
            continue
        if header := _HEADER.match(line):
            table = _path(header["name"])
            found.setdefault(table, number)
        elif key := _KEY.match(line):
            found.setdefault(table + _path(key["key"]), number)
            opened = [q for q in ('"""', "'''") if line.count(q) % 2]
            quotes = opened[0] if opened else None
    return found


def _path(dotted: str) -> tuple[str, ...]:
    """Split ``a."b.c".d`` into its names."""
    names = re.findall(r"\"([^\"]*)\"|'([^']*)'|([\w-]+)", dotted)
    return tuple(a or b or c for a, b, c in names)

"""The packaged fabric table: twelve fabrics, their everyday words, threads and sources."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from restitch.errors import UsageError
from restitch.fabrics.model import Fabric, PullRule, UnderlayRule
from restitch.fabrics.toml_text import TomlText, nearest
from restitch.fabrics.values import checked_table

UNASKED = "twill"
"""The fabric when none is named: a firm woven changes a sound file least. Our choice."""

_GROUPS = {"underlay": UnderlayRule, "pull": PullRule}


class ThreadWeight(NamedTuple):
    """How a thread of another weight than 40 changes the fabric's numbers."""

    weight: int
    spacing: float
    """Factor on the fabric's spacing."""
    lettering: float
    """Factor on the smallest letter height."""
    sources: Mapping[str, str]


def fabrics() -> tuple[Fabric, ...]:
    """Return all fabrics in the table's order."""
    return tuple(_fabrics().values())


def fabric(name_or_word: str) -> Fabric:
    """Return the fabric of a name (``jersey``) or everyday word (``knit``), whatever its case.

    An unknown word is a `UsageError` that names the nearest one known.
    """
    word = _plain(name_or_word)
    names = _words()
    if word not in names:
        raise UsageError(f"unknown fabric '{name_or_word}'; {_nearest_fabric(word, names)}")
    return _fabrics()[names[word]]


def fabric_note(asked: str | None) -> str:
    """Return one sentence that says which fabric the user's word came to."""
    if asked is None:
        return f"No fabric was named: the figures for {UNASKED} hold."
    found = fabric(asked)
    if _plain(asked) == found.name:
        return f"Fabric: {found.name} ({found.title})."
    return f"'{asked}' is taken as {found.name} ({found.title})."


def thread_weight(weight: int) -> ThreadWeight | None:
    """Return what is known of a thread weight number, or None."""
    return _threads().get(weight)


def thread_weights() -> tuple[int, ...]:
    """Return the thread weight numbers the table knows, finest last."""
    return tuple(sorted(_threads()))


def sources() -> Mapping[str, str]:
    """Return what each source key of the table stands for."""
    found: dict[str, str] = _table()["sources"]
    return found


def _nearest_fabric(word: str, names: Mapping[str, str]) -> str:
    hint = nearest(word, names)
    if hint.startswith("did"):
        return hint
    return f"fabrics: {', '.join(_fabrics())}, or an everyday word such as knit, polo or towel"


def _plain(word: str) -> str:
    """A word without case, stray spaces, hyphens or underscores."""
    return " ".join(word.casefold().replace("-", " ").replace("_", " ").split())


@cache
def _table() -> dict[str, Any]:
    # beside this module: `importlib.resources` would take longer to load than the table to read
    return tomllib.loads(Path(__file__).with_name("fabrics.toml").read_text("utf-8"))


@cache
def _fabrics() -> Mapping[str, Fabric]:
    every = _table()["every"]
    return {name: _fabric(name, every, row) for name, row in _table()["fabric"].items()}


@cache
def _words() -> Mapping[str, str]:
    """Fabric name of every name and everyday word."""
    names = {name: name for name in _fabrics()}
    words = {_plain(word): f.name for f in _fabrics().values() for word in f.words}
    return words | names


@cache
def _threads() -> Mapping[int, ThreadWeight]:
    return {
        int(weight): ThreadWeight(
            weight=int(weight),
            spacing=row["spacing"]["value"],
            lettering=row["lettering"]["value"],
            sources={key: cell["source"] for key, cell in row.items()},
        )
        for weight, row in _table()["thread"].items()
    }


def _fabric(name: str, every: dict[str, Any], row: dict[str, Any]) -> Fabric:
    """Return a fabric from what holds for every one and its own row."""
    cells: dict[str, dict[str, Any]] = {"": {}, **{group: {} for group in _GROUPS}}
    for layer in (every, row):
        for key, cell in layer.items():
            if key in _GROUPS:
                cells[key].update(cell)
            elif isinstance(cell, dict):
                cells[""][key] = cell
    fail = TomlText(Path("fabrics.toml"), "", {}).fail
    groups = {
        group: model(**checked_table(model, _values(cells[group]), (name, group), fail))
        for group, model in _GROUPS.items()
    }
    own = checked_table(Fabric, _values(cells[""]), (name,), fail, leave_out=tuple(_GROUPS))
    found = {
        f"{group}.{key}" if group else key: cell["source"]
        for group, group_cells in cells.items()
        for key, cell in group_cells.items()
    }
    return Fabric(
        name=name, title=row["title"], words=tuple(row["words"]), sources=found, **groups, **own
    )


def _values(cells: Mapping[str, dict[str, Any]]) -> dict[str, Any]:
    return {key: cell["value"] for key, cell in cells.items()}

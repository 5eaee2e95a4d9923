"""A shop's profile: a fabric's numbers, and what the shop wants different."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from restitch.errors import UsageError
from restitch.fabrics.model import (
    Fabric,
    Limits,
    Profile,
    known_fixes,
)
from restitch.fabrics.table import (
    UNASKED,
    fabric,
    fabric_note,
    thread_weight,
    thread_weights,
)
from restitch.fabrics.toml_text import TomlText, nearest, read_toml
from restitch.fabrics.values import checked, checked_table, types_of

_TABLES = ("limits", "machine", "weights", "order")
_FABRIC_GROUPS = ("underlay", "pull")
_KEYS = ("name", "fabric", "fixes", "pull_mm", "kicks", *_TABLES)
_FIXED = ("name", "title", "words", "sources")
"""Fields of a fabric that a profile cannot set."""


def default_profile(word: str | None = None) -> Profile:
    """Return the profile of a fabric (name or everyday word); twill when none is named.

    ``sources["fabric"]`` says in one sentence which fabric the word came to.
    """
    found = fabric(word if word is not None else UNASKED)
    limits = Limits(lettering_min_mm=found.lettering_min_mm)
    return Profile(found.name, found, limits=limits, sources={"fabric": fabric_note(word)})


def load_profile(path: Path | str) -> Profile:
    """Return the profile of a TOML file.

    An unknown key, a wrong type or an impossible value is a `UsageError` with file, line and the
    nearest valid key. ``sources`` names file and line of every value the file sets.
    """
    file = read_toml(Path(path))
    for key in file.values:
        if key not in _KEYS:
            file.fail((key,), f"unknown key '{key}'; {nearest(key, _KEYS)}")
    base = _inherited(file)
    tables = {
        key: _changed(file, getattr(base, key), (key,)) for key in _TABLES if key in file.values
    }
    profile = replace(base, **_top_values(file, base), **tables)
    profile = _with_thread(file, profile)
    _check_together(file, profile)
    return replace(profile, sources={**profile.sources, **_set_here(file)})


def _changed(file: TomlText, base: Any, keys: tuple[str, ...]) -> Any:
    """A dataclass with the values that the file's table under the keys sets."""
    values: Any = file.values
    for key in keys:
        values = values[key]
    return replace(base, **checked_table(type(base), values, keys, file.fail))


def _inherited(file: TomlText) -> Profile:
    """The default profile of the file's fabric, with the fabric's numbers it sets."""
    given = file.values.get("fabric")
    if given is None:
        return default_profile(None)
    numbers: dict[str, Any] = {}
    keys: tuple[str, ...] = ("fabric",)
    if isinstance(given, dict):
        numbers = {key: value for key, value in given.items() if key != "name"}
        given, keys = given.get("name"), ("fabric", "name")
        if given is None:
            file.fail(("fabric",), '[fabric] needs a name, for instance name = "pique"')
    if not isinstance(given, str):
        file.fail(keys, f"'{keys[-1]}' must be the name of a fabric in quotes, not {given}")
    try:
        base = default_profile(given)
    except UsageError as error:
        file.fail(keys, str(error))
    if not numbers:
        return base
    changed = _changed_fabric(file, base.fabric, numbers)
    limits = Limits(lettering_min_mm=changed.lettering_min_mm)
    return replace(base, fabric=changed, limits=limits)


def _changed_fabric(file: TomlText, base: Fabric, numbers: dict[str, Any]) -> Fabric:
    groups = {
        key: _changed(file, getattr(base, key), ("fabric", key))
        for key in _FABRIC_GROUPS
        if key in numbers
    }
    plain = {key: value for key, value in numbers.items() if key not in _FABRIC_GROUPS}
    valid = [key for key in types_of(Fabric) if key not in _FIXED]
    for key in plain:
        if key not in valid:
            file.fail(("fabric", key), f"unknown key '{key}' in [fabric]; {nearest(key, valid)}")
    own = checked_table(Fabric, plain, ("fabric",), file.fail, leave_out=(*_FIXED, *_FABRIC_GROUPS))
    here = {".".join(k[1:]): _place(file, k) for k in _leaves(file.values) if k[0] == "fabric"}
    here.pop("name", None)
    return replace(base, **groups, **own, sources={**base.sources, **here})


def _top_values(file: TomlText, base: Profile) -> dict[str, Any]:
    kinds = {"name": str, "pull_mm": float, "kicks": int}
    found: dict[str, Any] = {
        key: checked(file.values[key], kind, (key,), file.fail)
        for key, kind in kinds.items()
        if key in file.values
    }
    found.setdefault("name", file.path.stem)
    if "fixes" in file.values:
        found["fixes"] = _fixes(file)
    elif found.get("pull_mm"):
        # a stated amount is the request to compensate
        found["fixes"] = base.fixes | {"pull"}
    return found


def _fixes(file: TomlText) -> frozenset[str]:
    names = checked(file.values["fixes"], tuple[str, ...], ("fixes",), file.fail)
    for name in names:
        if name not in known_fixes():
            file.fail(("fixes",), f"unknown fix '{name}'; {nearest(name, known_fixes())}")
    return frozenset(names)


def _with_thread(file: TomlText, profile: Profile) -> Profile:
    """The profile with spacing and smallest letter of its thread weight, where not set by hand."""
    weight = profile.machine.thread_wt
    known = thread_weight(weight)
    if known is None:
        weights = ", ".join(map(str, thread_weights()))
        file.fail(
            ("machine", "thread_wt"),
            f"thread weight {weight} is not in the table; valid: {weights}",
        )
    if weight == 40:
        return profile
    given = file.values.get("fabric")
    by_hand = given if isinstance(given, dict) else {}
    spacing = {
        key: round(getattr(profile.fabric, key) * known.spacing, 3)
        for key in ("fill_spacing_mm", "satin_spacing_mm")
        if key not in by_hand
    }
    note = f"{weight} weight thread: {known.sources['spacing']}"
    fabric_sources = {**profile.fabric.sources, **dict.fromkeys(spacing, note)}
    changed = replace(profile.fabric, **spacing, sources=fabric_sources)
    limits = profile.limits
    if "lettering_min_mm" not in file.values.get("limits", {}):
        smallest = round(profile.fabric.lettering_min_mm * known.lettering, 2)
        limits = replace(limits, lettering_min_mm=smallest)
    return replace(profile, fabric=changed, limits=limits)


_ASCENDING = (
    ("limits", "shortest_stitch_mm", "safe_stitch_mm"),
    ("limits", "satin_warn_under_mm", "satin_warn_over_mm"),
    ("limits", "safe_stitch_mm", "longest_stitch_mm"),
    ("limits", "satin_split_over_mm", "longest_stitch_mm"),
    ("limits", "fill_stitch_over_mm", "longest_stitch_mm"),
)
"""Limits that make no sense the other way round: the first must not exceed the second."""


def _check_together(file: TomlText, profile: Profile) -> None:
    """Complain of values that are possible one by one but not together."""
    pull = profile.fabric.pull
    if pull.least_mm > pull.most_mm:
        file.fail(
            ("fabric", "pull"),
            f"least_mm = {pull.least_mm:g} exceeds most_mm = {pull.most_mm:g}",
        )
    for table, low, high in _ASCENDING:
        least, most = getattr(profile.limits, low), getattr(profile.limits, high)
        if least > most:
            key = low if low in file.values.get(table, {}) else high
            file.fail((table, key), f"{low} = {least:g} exceeds {high} = {most:g}")


def _set_here(file: TomlText) -> dict[str, str]:
    """File and line of every value the file sets, by its dotted key."""
    return {
        ".".join(keys): _place(file, keys)
        for keys in _leaves(file.values)
        if keys not in {("fabric",), ("fabric", "name")}
    }


def _place(file: TomlText, keys: tuple[str, ...]) -> str:
    return f"{file.path.name}, line {file.line_of(*keys)}"


def _leaves(values: Mapping[str, Any], above: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    found: list[tuple[str, ...]] = []
    for key, value in values.items():
        keys = (*above, key)
        found.extend(_leaves(value, keys) if isinstance(value, dict) else [keys])
    return found

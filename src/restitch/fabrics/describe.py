"""What is in force, row by row: value, unit and where each number came from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from typing import Any

from restitch.fabrics.model import (
    Fabric,
    Limits,
    Machine,
    OrderRules,
    Profile,
    Weights,
    known_fixes,
)
from restitch.fabrics.table import sources as citations

BUILT_IN = "our choice"
"""Source of a default that no table row gives."""

LIMIT_SOURCES: Mapping[str, str] = {
    "safe_stitch_mm": "PW16c, PW16a, COMP",
    "longest_stitch_mm": "COMP (12 mm machine), DST step 12.1",
    "satin_warn_over_mm": "common practice",
    "satin_warn_under_mm": "GP1, PW16a, PW19a",
    "trim_over_mm": "lower end of the published 5 to 8 mm",
    "lettering_min_mm": "GP2, IMtxt",
}
"""Sources of the built-in limits; those not named are our choice."""

_UNITS = {"mm": "mm", "deg": "degrees", "spm": "stitches/min", "s": "s"}
_ODD_UNITS = {"layers": "layers", "share": "of the width", "thread_wt": "weight", "kicks": "kicks"}


@dataclass(frozen=True, slots=True)
class Row:
    """One number in force."""

    key: str
    """Dotted key as a profile writes it."""
    value: str
    unit: str
    source: str
    """Source keys of the fabric table, "our choice", or file and line of a profile."""


def describe(profile: Profile) -> tuple[Row, ...]:
    """Return every number in force, the fabric's first, then limits, machine, weights, order."""
    rows = [Row("fabric.name", profile.fabric.name, "", profile.sources.get("fabric", ""))]
    rows += [_named(row, f"fabric.{row.key}") for row in describe_fabric(profile.fabric)]
    rows.append(
        _row("fixes", tuple(f for f in known_fixes() if f in profile.fixes), profile.sources)
    )
    rows.append(_row("pull_mm", profile.pull_mm, profile.sources))
    rows.append(_row("kicks", profile.kicks, profile.sources))
    for table in ("limits", "machine", "weights", "order"):
        rows += _table_rows(table, getattr(profile, table), profile)
    return tuple(rows)


def describe_fabric(fabric: Fabric) -> tuple[Row, ...]:
    """Return every number of one fabric with its source."""
    return tuple(
        _row(key, value, fabric.sources)
        for key, value in _leaves(fabric)
        if key not in {"name", "title", "words", "sources"}
    )


def cited(rows: Iterable[Row]) -> tuple[tuple[str, str], ...]:
    """Return (key, what it stands for) of every source that the rows name, in their order."""
    known = citations()
    named = [word.strip(" ;") for row in rows for word in row.source.replace(";", ",").split(",")]
    return tuple((key, known[key]) for key in dict.fromkeys(named) if key in known)


def _table_rows(
    table: str, values: Limits | Machine | Weights | OrderRules, profile: Profile
) -> list[Row]:
    inherited = {
        "limits.layers": profile.layers,
        "machine.speed_spm": profile.speed_spm,
    }
    rows = []
    for key, value in _leaves(values):
        dotted = f"{table}.{key}"
        if value is None and dotted in inherited:
            rows.append(_row(dotted, inherited[dotted], {dotted: "the fabric's"}))
            continue
        origin = profile.sources.get(dotted)
        if origin is None and dotted == "limits.lettering_min_mm":
            origin = profile.fabric.sources.get(key)
        if origin is None and table == "limits":
            origin = LIMIT_SOURCES.get(key)
        rows.append(_row(dotted, value, {dotted: origin or BUILT_IN}))
    return rows


def _leaves(values: Any, above: str = "") -> list[tuple[str, Any]]:
    """Dotted key and value of every field, nested dataclasses opened."""
    found: list[tuple[str, Any]] = []
    for field in fields(values):
        value = getattr(values, field.name)
        key = f"{above}{field.name}"
        found += _leaves(value, f"{key}.") if hasattr(value, "__slots__") else [(key, value)]
    return found


def _row(key: str, value: object, origin: Mapping[str, str]) -> Row:
    return Row(key, _shown(value), _unit(key), origin.get(key, BUILT_IN))


def _named(row: Row, key: str) -> Row:
    return Row(key, row.value, row.unit, row.source)


def _shown(value: object) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, tuple):
        sizes = all(isinstance(v, float) for v in value) and value
        return (" x " if sizes else ", ").join(map(_shown, value)) or "none"
    return str(value)


def _unit(key: str) -> str:
    last = key.rpartition(".")[2]
    if last in _ODD_UNITS:
        return _ODD_UNITS[last]
    if key.startswith(("weights.", "order.")):
        return "mm of travel"
    return _UNITS.get(last.rpartition("_")[2], "") if "_" in last else ""

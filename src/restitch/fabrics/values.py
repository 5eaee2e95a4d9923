"""Checking a user's values against the dataclasses that name them.

The fields of `Limits`, `Machine` and the others are the valid keys, their types the valid types;
`BOUNDS` says which values are possible at all.
"""

from __future__ import annotations

import math
import types
import typing
from collections.abc import Callable, Mapping
from dataclasses import fields
from functools import cache
from typing import Any, NoReturn

from restitch.fabrics.toml_text import nearest

Fail = Callable[[tuple[str, ...], str], NoReturn]
"""Raises the complaint about the value under the keys."""

NEVER = "never"
"""How a table writes the absence of an optional value."""

BOUNDS: Mapping[str, tuple[float, float]] = {
    "fill_spacing_mm": (0.1, 3.0),
    "satin_spacing_mm": (0.1, 3.0),
    "run_stitch_mm": (0.5, 12.0),
    "fill_stitch_mm": (1.0, 12.0),
    "stitch_mm": (0.5, 12.0),
    "layers": (1.0, 20.0),
    "stitches_max": (100, 10_000_000),
    "centre_run_below_mm": (0.0, 20.0),
    "zigzag_from_mm": (0.5, 20.0),
    "inset_mm": (0.0, 5.0),
    "crossing_angle_deg": (10.0, 90.0),
    "crossing_spacing_mm": (0.5, 20.0),
    "zigzag_spacing_mm": (0.5, 20.0),
    "share": (0.0, 0.5),
    "least_mm": (0.0, 3.0),
    "most_mm": (0.0, 3.0),
    "border_overlap_mm": (0.0, 5.0),
    "lettering_min_mm": (1.0, 50.0),
    "shortest_stitch_mm": (0.1, 2.0),
    "safe_stitch_mm": (0.1, 3.0),
    "longest_stitch_mm": (3.0, 12.7),
    "satin_split_over_mm": (3.0, 12.7),
    "satin_warn_over_mm": (2.0, 20.0),
    "satin_warn_under_mm": (0.2, 5.0),
    "fill_stitch_over_mm": (3.0, 12.7),
    "pile_up": (2, 100),
    "trim_over_mm": (0.5, 100.0),
    "join_under_mm": (0.0, 5.0),
    "confidence": (0.0, 1.0),
    "look": (0.5, 1.0),
    "speed_spm": (50.0, 3000.0),
    "trim_s": (0.0, 120.0),
    "colour_change_s": (0.0, 600.0),
    "stop_s": (0.0, 3600.0),
    "hoop_mm": (5.0, 3000.0),
    "field_mm": (5.0, 3000.0),
    "thread_wt": (8, 150),
    "colour": (0.0, 1e6),
    "trim": (0.0, 1e6),
    "travel": (0.0, 1e6),
    "centre_out": (0.0, 1e6),
    "bottom_up": (0.0, 1e6),
    "area_by_area": (0.0, 1e6),
    "pull_mm": (0.0, 3.0),
    "kicks": (0, 1_000_000),
}
"""Least and greatest value that can be meant; outside lies a slip of unit or finger. Our choice,
except that no machine sews over 12.7 mm (a signed byte of 0.1 mm steps: EXP and JEF)."""


@cache
def types_of(model: type) -> Mapping[str, Any]:
    """Type of each field of a dataclass, by name, in their order."""
    hints = typing.get_type_hints(model)
    return {f.name: hints[f.name] for f in fields(model)}


def checked_table(
    model: type,
    values: object,
    keys: tuple[str, ...],
    fail: Fail,
    *,
    leave_out: tuple[str, ...] = (),
) -> dict[str, Any]:
    """Return a table's values as the dataclass takes them; ``fail`` hears of the first fault."""
    title = ".".join(keys)
    if not isinstance(values, dict):
        fail(keys, f"'{title}' must be a table, [{title}]")
    valid = {name: kind for name, kind in types_of(model).items() if name not in leave_out}
    result = {}
    for key, value in values.items():
        if key not in valid:
            fail((*keys, key), f"unknown key '{key}' in [{title}]; {nearest(key, valid)}")
        result[key] = checked(value, valid[key], (*keys, key), fail)
    return result


def checked(value: object, kind: Any, keys: tuple[str, ...], fail: Fail) -> Any:
    """Return one value as its type takes it; ``fail`` hears of a wrong type or value."""
    key = keys[-1]
    if isinstance(kind, types.UnionType):
        if value == NEVER:
            return None
        kind = next(k for k in typing.get_args(kind) if k is not types.NoneType)
    if typing.get_origin(kind) is tuple:
        return _checked_list(value, typing.get_args(kind), keys, fail)
    if kind is bool or kind is str:
        if not isinstance(value, kind):
            fail(keys, f"'{key}' must be {_WORDS[kind]}, not {_shown(value)}")
        return value
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        fail(keys, f"'{key}' must be {_WORDS[kind]}, not {_shown(value)}")
    if kind is int and not float(value).is_integer():
        fail(keys, f"'{key}' must be a whole number, not {value}")
    low, high = BOUNDS[key]
    if not math.isfinite(value) or not low <= value <= high:
        fail(keys, f"'{key}' = {value} is impossible: it must lie from {low:g} to {high:g}")
    return kind(value)


def _checked_list(
    value: object, kinds: tuple[Any, ...], keys: tuple[str, ...], fail: Fail
) -> tuple[Any, ...]:
    any_length = kinds[-1] is Ellipsis
    one = _WORDS[kinds[0]].removeprefix("a ")
    wanted = f"a list of {one}s" if any_length else f"a list of {len(kinds)} {one}s"
    if not isinstance(value, list) or not (any_length or len(value) == len(kinds)):
        fail(keys, f"'{keys[-1]}' must be {wanted}, not {_shown(value)}")
    return tuple(checked(item, kinds[0], keys, fail) for item in value)


_WORDS = {bool: "true or false", str: "a text", int: "a whole number", float: "a number"}


def _shown(value: object) -> str:
    """A value as its file would write it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"'
    return "a table" if isinstance(value, dict) else str(value)

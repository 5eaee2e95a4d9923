"""A result as JSON text: one line a key, and one an entry of a list."""

from __future__ import annotations

from json import dumps
from typing import Any


def print_json(document: dict[str, Any]) -> None:
    """Print the document, ASCII only.

    A line an entry suits the eye and line tools alike, and is made ten times as fast as indented
    text, for which the library has no compiled encoder.
    """
    lines = [f" {dumps(key)}: {_value(value)}" for key, value in document.items()]
    print("{\n" + ",\n".join(lines) + "\n}")


def _value(value: Any) -> str:
    if isinstance(value, list) and value:
        return "[\n  " + ",\n  ".join(map(dumps, value)) + "\n ]"
    return dumps(value)

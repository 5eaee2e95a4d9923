"""Numbers of the pages against their homes: a table row that names a home must tell its value."""

from __future__ import annotations

import re
from dataclasses import fields, is_dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

DOCS = Path(__file__).parent.parent / "docs"
HOME = re.compile(r"^`(restitch\.[\w.]+)`$")


def rows() -> list[tuple[str, str, str]]:
    """(page, value as told, dotted home) of every table row with a home."""
    found = []
    for page in sorted(DOCS.rglob("*.md")):
        for line in page.read_text("utf-8").splitlines():
            cells = [c.strip() for c in line.strip().strip("|").split("|")]
            for at, cell in enumerate(cells):
                if line.startswith("|") and at and (match := HOME.match(cell)):
                    found.append((page.relative_to(DOCS).as_posix(), cells[at - 1], match[1]))
    return found


def value_of(home: str) -> Any:
    """The constant, or the default of the field of a record, of a dotted name."""
    names = home.split(".")
    for cut in range(len(names), 0, -1):
        try:
            found: Any = import_module(".".join(names[:cut]))
        except ModuleNotFoundError:
            continue
        for name in names[cut:]:
            found = default_of(found, name) if is_class(found) else getattr(found, name)
        return found
    raise AssertionError(home)


def is_class(found: Any) -> bool:
    """Whether it is a dataclass or named tuple, not one of its instances."""
    return isinstance(found, type) and (is_dataclass(found) or issubclass(found, tuple))


def default_of(model: Any, name: str) -> Any:
    """Default of a record's field."""
    if issubclass(model, tuple):
        return model._field_defaults[name]  # type: ignore[attr-defined]
    return next(f.default for f in fields(model) if f.name == name)


def told(text: str) -> tuple[float, ...]:
    """``0.85, 1.20`` or ``98.5%`` as numbers."""
    return tuple(
        float(number.replace(",", "")) / (100.0 if percent else 1.0)
        for number, percent in re.findall(r"(\d[\d,]*(?:\.\d+)?)(%?)", text.replace(", ", " "))
    )


@pytest.mark.parametrize(("page", "text", "home"), rows())
def test_a_number_told_is_the_number_in_force(page: str, text: str, home: str) -> None:
    value = value_of(home)
    held = tuple(value) if isinstance(value, tuple) else (value,)
    assert told(text) == pytest.approx(tuple(map(float, held)), rel=1e-5), f"{page}: {home}"


def test_there_are_rows_to_compare() -> None:
    assert len(rows()) > 60
    assert told("1,000 and 2.5%") == (1000.0, 0.025)

"""The page of errors names every exit code, every error class and every message in the code."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from restitch import errors
from restitch.cli.folder_run import INTERRUPTED

ROOT = Path(__file__).parent.parent
SOURCE = ROOT / "src" / "restitch"
PAGE = (ROOT / "docs" / "errors.md").read_text("utf-8")
TELLERS = {
    *("UsageError", "UnreadableError", "WriteError", "RefusedError"),
    *("Damaged", "ParseFailed", "_LostError", "ValueError", "fail", "failure"),
}
"""Classes and functions whose text the user is told."""
REASONS = {
    *("_cause", "_reason", "_exists", "difference"),
    *("_other_halts", "_other_threads", "_other_trims"),
}
"""Functions that return such a text."""
FOR_CALLERS = {"fabrics/trade.py", "look/laid.py"}
"""Modules whose `ValueError`s tell a programmer of a wrong call."""


def messages() -> list[tuple[str, tuple[str, ...]]]:
    """(place, fixed parts in order) of every message a user may be told."""
    found = []
    for path in sorted(SOURCE.rglob("*.py")):
        place = path.relative_to(SOURCE).as_posix()
        if place in FOR_CALLERS:
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            for text in texts_of(node):
                parts = fixed_parts(text)
                if any(len(p) > 3 for p in parts):
                    found.append((f"{place}:{node.lineno}", parts))  # type: ignore[attr-defined]
    return found


def texts_of(node: ast.AST) -> Iterator[ast.expr]:
    """Texts that a call tells, or that a function which gives reasons returns."""
    if isinstance(node, ast.Call):
        name = node.func.attr if isinstance(node.func, ast.Attribute) else ""
        name = node.func.id if isinstance(node.func, ast.Name) else name
        if name in TELLERS:
            yield from (a for a in node.args if isinstance(a, ast.JoinedStr | ast.Constant))
    elif isinstance(node, ast.FunctionDef) and node.name in REASONS:
        for inner in ast.walk(node):
            if isinstance(inner, ast.Return) and isinstance(
                inner.value, ast.JoinedStr | ast.Constant
            ):
                yield inner.value


def fixed_parts(text: ast.expr) -> tuple[str, ...]:
    """The parts of a text that do not change, without spaces and marks at their ends."""
    values = text.values if isinstance(text, ast.JoinedStr) else [text]
    fixed = [v.value for v in values if isinstance(v, ast.Constant) and isinstance(v.value, str)]
    return tuple(p for p in (f.strip(" :;,.'\"()[]?") for f in fixed) if p)


def told() -> list[str]:
    """Message forms of the page."""
    return [m for line in PAGE.splitlines() for m in re.findall(r"`([^`]+)`", line)]


@pytest.mark.parametrize(("place", "parts"), messages())
def test_every_message_is_on_the_page(place: str, parts: tuple[str, ...]) -> None:
    pattern = re.compile(".*".join(map(re.escape, parts)))
    assert any(pattern.search(form) for form in told()), f"{place}: {' ... '.join(parts)}"


def test_every_exit_code_and_error_class_is_on_the_page() -> None:
    codes = {int(c) for c in re.findall(r"^\| (\d+) \|", PAGE, re.M)}
    assert codes == {int(code) for code in errors.ExitCode} | {INTERRUPTED}
    for name, kind in vars(errors).items():
        if isinstance(kind, type) and issubclass(kind, errors.RestitchError):
            assert f"`{name}`" in PAGE, name


def test_messages_are_found() -> None:
    assert len(messages()) > 100

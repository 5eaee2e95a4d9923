"""Findings and fixes that other installed packages add, by entry point.

A package names a function under ``restitch.findings`` (``find(survey)``) or ``restitch.fixes``
(``run(plan, context)``); the entry point's name is the name of the finding or fix.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

FINDINGS = "restitch.findings"
FIXES = "restitch.fixes"


@cache
def added(group: str) -> Mapping[str, Callable[..., Any]]:
    """Return the functions that installed packages add to a group, by name in sorted order.

    Raises `UsageError` naming the package where one cannot be loaded.
    """
    if not _any_declared():
        return {}
    from importlib.metadata import entry_points

    return {e.name: _loaded(e) for e in sorted(entry_points(group=group), key=lambda e: e.name)}


def _loaded(entry: Any) -> Callable[..., Any]:
    from restitch.errors import UsageError

    try:
        function: Callable[..., Any] = entry.load()
    except Exception as error:
        package = entry.dist.name if entry.dist else "an installed package"
        raise UsageError(
            f"{package}: its {entry.group} entry {entry.name!r} cannot be loaded "
            f"({type(error).__name__}: {error}); mend or uninstall it"
        ) from None
    return function


@cache
def _any_declared() -> bool:
    """Whether any installed package declares an entry point of ours.

    A plain look costs 2 ms where ``importlib.metadata`` costs ten times that to import (measured
    with 60 packages), and hardly anyone has an addition installed.
    """
    return any(_declares(folder) for folder in sys.path)


def _declares(folder: str) -> bool:
    try:
        with os.scandir(folder or ".") as entries:
            infos = [e.path for e in entries if e.name.endswith((".dist-info", ".egg-info"))]
    except OSError:
        return False
    return any(_mentions_us(os.path.join(info, "entry_points.txt")) for info in infos)


def _mentions_us(path: str) -> bool:
    try:
        with open(path, encoding="utf-8", errors="replace") as file:
            return "[restitch." in file.read()
    except OSError:
        return False

"""The object-local passes in the order they run."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from importlib import import_module

from restitch.extensions import FIXES, added
from restitch.fix.context import Context, PassResult, Plan
from restitch.model import Change

Pass = Callable[[Plan, Context], PassResult]

LOCAL_PASSES = ("stack", "spacing", "lengths", "underlay", "pull")
"""Each is a module of this package with ``run(plan, context)``; those of other packages follow."""

ORDER_FIXES = ("layering", "sequence", "links")
"""Fixes that act on the order of objects, not on one object."""


def run_local(plan: Plan, context: Context) -> PassResult:
    """Run every local pass that the profile asks for; return the plan and all changes."""
    changes: list[Change] = []
    for run in _passes(context.profile.fixes):
        plan, made = run(plan, context)
        changes += made
    return plan, tuple(changes)


def _passes(wanted: frozenset[str]) -> Iterator[Pass]:
    """The wanted passes in the order they run; only they are imported."""
    for name in LOCAL_PASSES:
        if name in wanted:
            yield import_module(f"restitch.fix.{name}").run
    yield from (run for name, run in added(FIXES).items() if name in wanted)

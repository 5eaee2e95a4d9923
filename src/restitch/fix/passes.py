"""The object-local passes in the order they run."""

from __future__ import annotations

from importlib import import_module

from restitch.fix.context import Context, PassResult, Plan
from restitch.model import Change

LOCAL_PASSES = ("stack", "spacing", "lengths", "underlay", "pull")
"""Each is a module of this package with ``run(plan, context)``."""


def run_local(plan: Plan, context: Context) -> PassResult:
    """Run every local pass that the profile asks for; return the plan and all changes."""
    changes: list[Change] = []
    for name in LOCAL_PASSES:
        if name in context.profile.fixes:
            run = import_module(f"restitch.fix.{name}").run
            plan, made = run(plan, context)
            changes += made
    return plan, tuple(changes)

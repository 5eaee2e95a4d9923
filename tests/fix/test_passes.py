"""The passes together: those that are wanted, in the order they run."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from restitch.fix.passes import LOCAL_PASSES, run_local
from restitch.model import Kind, Role
from stitched import column, fill, same_plan, sewn


def everything_wrong():
    """A doubled column, a crowded fill without underlay, a column of strokes too long to hold."""
    narrow, crowded = column(30, 3), fill(40, 20, 0.2, y=20.0)
    return sewn(
        (Kind.SATIN, [(Role.TOP, narrow, 1), (Role.TOP, narrow)]),
        (Kind.FILL, [(Role.TOP, crowded)]),
        (Kind.SATIN, [(Role.TOP, column(20, 10, y=60.0))]),
    )


def test_every_wanted_pass_runs_in_its_order() -> None:
    plan, context = everything_wrong()
    _, changes = run_local(plan, context)
    told = [c.fix for c in changes]
    assert set(told) == {"stack", "spacing", "lengths", "underlay"}
    # what is stacked goes before it is judged by its spacing, underlay comes after the tops
    assert told == sorted(told, key=LOCAL_PASSES.index)


def test_a_pass_works_on_what_the_one_before_left() -> None:
    plan, context = everything_wrong()
    fixed, changes = run_local(plan, context)
    again, more = run_local(fixed, context)
    assert more == ()
    assert same_plan(again, fixed)
    saved = sum(c.stitches_saved for c in changes)
    count = [sum(len(p.xy) for o in p_ for p in o.pieces) for p_ in (plan, fixed)]
    assert count[0] - count[1] == saved


def test_what_is_not_wanted_does_not_run() -> None:
    plan, context = everything_wrong()
    for name in ("stack", "lengths"):
        one = replace(context, profile=replace(context.profile, fixes=frozenset({name})))
        assert {c.fix for c in run_local(plan, one)[1]} == {name}
    none = replace(context, profile=replace(context.profile, fixes=frozenset({"sequence"})))
    fixed, changes = run_local(plan, none)
    assert changes == ()
    assert fixed is plan
    assert np.array_equal(fixed[0].points(), plan[0].points())

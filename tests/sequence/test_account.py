"""What ordering says it did: every pair turned, every object moved, the figures of both routes."""

from __future__ import annotations

import pytest

from restitch.check.judge_layering import Buried
from restitch.geometry import outline
from restitch.model import Kind, Link, Role, State
from restitch.sequence.account import layering_changes, links_change, sequence_change
from restitch.sequence.layering import Layering, layering
from restitch.sequence.ordering import _router
from restitch.sequence.settings import ORDER
from stitched import column, sewn


def columns(count=4):
    return sewn(*[(Kind.SATIN, [(Role.TOP, column(10, 2, x=16.0 * i))]) for i in range(count)])


def test_every_pair_that_is_turned_is_told_also_those_that_go_along() -> None:
    plan, context = columns(3)
    # 1 lies over the border 0 and under the column 2, whose end belongs under the border
    layers = layering([(0, 1), (1, 2), (0, 2)], [(2, 0)])
    found = [Buried(before=2, after=0, rule="ends"), Buried(before=0, after=1, rule="ends")]
    told = {c.objects: c for c in layering_changes(plan, found, layers, context)}
    assert set(told) == {(2, 0), (1, 0)}
    assert told[2, 0].reason.endswith("satin 2 now goes under satin 0.")
    assert "its end stops in the border".lower() in told[2, 0].reason.lower()
    assert "lies between" in told[1, 0].reason
    names = {i: o.first_record for i, o in enumerate(plan)}
    assert told[2, 0].id == f"layering-{names[2]}-{names[0]}"
    assert told[2, 0].state is State.APPLIED
    # the place is that of the object that goes under
    assert told[2, 0].box_mm == context.place_of(plan[2].points())[1]


def test_what_no_order_can_honour_or_stands_right_already_is_no_change() -> None:
    plan, context = columns(3)
    found = [Buried(before=2, after=0, rule="ends"), Buried(before=0, after=1, rule="ends")]
    assert layering_changes(plan, found, Layering((), (), ((2, 0),)), context) == ()


def routes(order, option=None):
    plan, context = columns()
    router = _router(plan, [outline(o) for o in plan], context, ORDER)
    was = router.as_found(range(4))
    now = router.as_found(order)._replace(option=option or (0,) * 4)
    return plan, was, now


def test_an_order_as_it_was_is_no_change() -> None:
    plan, was, now = routes((0, 1, 2, 3))
    assert sequence_change(plan, was, now, State.APPLIED) == ()


@pytest.mark.parametrize(
    ("order", "moved"),
    [((0, 1, 3, 2), (2, 3)), ((1, 0, 2, 3), (0, 1, 2)), ((3, 0, 1, 2), (0, 3))],
)
def test_who_has_another_neighbour_before_it_is_named(order, moved) -> None:
    plan, was, now = routes(order)
    (change,) = sequence_change(plan, was, now, State.APPLIED)
    assert change.objects == moved
    assert change.reason.startswith("Sewn in a new order, near ends joined")
    assert change.before["jump_mm"] == 18.0
    assert change.after["jump_mm"] == pytest.approx(now.jump_mm, abs=0.06)
    assert change.before["trims"] == change.after["trims"] == 3
    assert "18" in change.reason
    assert "trims" not in change.reason


def test_other_ends_in_the_same_order_are_told_as_such() -> None:
    plan, was, now = routes((0, 1, 2, 3), option=(0, 0, 1, 0))
    (change,) = sequence_change(plan, was, now, State.VETOED)
    assert change.objects == (2,)
    assert change.reason == "Near ends joined."
    assert change.state is State.VETOED


@pytest.mark.parametrize(
    ("changes", "cause"), [(0, "far joins"), (1, "far joins"), (-1, "needless colour changes")]
)
def test_the_cause_is_the_colour_change_where_one_is_saved(changes, cause) -> None:
    plan, was, now = routes((1, 0, 2, 3))
    was = was._replace(colour_changes=2)
    now = now._replace(colour_changes=2 + changes)
    (change,) = sequence_change(plan, was, now, State.APPLIED)
    assert change.cause == cause
    assert ("colour changes" in change.reason) == (changes != 0)


@pytest.mark.parametrize(
    ("trims", "ties", "cause", "reason"),
    [
        (1, 0, "long jump without trim", "1 trim added"),
        (0, 2, "missing tie", "2 ties added"),
        (2, 1, "missing tie", "2 trims and 1 tie added"),
    ],
)
def test_trims_and_ties_are_counted(trims, ties, cause, reason) -> None:
    plan, _ = columns()
    held = [sum(p.link is Link.TRIM for o in plan for p in o.pieces)]
    (change,) = links_change(plan, trims, ties, State.APPLIED)
    assert change.cause == cause
    assert change.reason.startswith(reason)
    assert change.before == {"trims": held[0]}
    assert change.after == {"trims": held[0] + trims, "ties_added": ties}

"""What ordering may do by itself and what it is told: gates, vetoes, notes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from restitch.model import Change, Kind, Link, Role, State, Thread
from restitch.sequence import order
from restitch.sequence.layering import Layering
from restitch.sequence.ordering import _block_note, _changed_anyway, _notes
from restitch.sequence.settings import ORDER
from stitched import column, run, same_plan, sewn


def untied(count=2, gap_mm=10.0):
    """Lines in a row without a tie, cut between them."""
    lines = [run([((20 + gap_mm) * i, 0), ((20 + gap_mm) * i + 20, 0)]) for i in range(count)]
    return sewn(*[(Kind.RUN, [(Role.TOP, line)]) for line in lines])


def test_ties_are_added_only_where_the_profile_asks_for_links() -> None:
    plan, context = untied()
    done = order(plan, context)
    assert [c.fix for c in done.changes] == ["links"]
    assert done.changes[0].after["ties_added"] == 4
    assert sum(p.role is Role.TIE for o in done.plan for p in o.pieces) == 4
    fixes = context.profile.fixes - {"links"}
    left = order(plan, replace(context, profile=replace(context.profile, fixes=fixes)))
    assert left.changes == ()
    assert left.plan == plan


def test_a_vetoed_tie_is_told_but_not_sewn() -> None:
    plan, context = untied()
    done = order(plan, replace(context, vetoed=frozenset({"links"})))
    assert [c.state for c in done.changes] == [State.VETOED]
    assert same_plan(done.plan, plan)


def test_one_object_is_tied_too() -> None:
    plan, context = untied(1)
    done = order(plan, context)
    assert done.changes[0].after["ties_added"] == 2


def test_a_long_jump_is_cut_and_a_short_one_is_not() -> None:
    for gap_mm, link in ((6.0, Link.TRIM), (4.0, Link.JUMP)):
        plan, context = untied(gap_mm=gap_mm)
        context = replace(context, source=replace(context.source, format="dst"))
        jump = replace(plan[1].pieces[0], link=Link.JUMP)
        done = order((plan[0], replace(plan[1], pieces=(jump,))), context)
        assert done.plan[1].pieces[0].link is link
        # nowhere is an end locked: short jumps get their ties as well
        assert done.changes[0].after["ties_added"] == 4


def saved(*counts, state=State.APPLIED):
    return [
        Change(f"stack-{i}", "stack", "", "", (i,), {"stitches": n}, {"stitches": 0}, state=state)
        for i, n in enumerate(counts)
    ]


@pytest.mark.parametrize(
    ("counts", "anyway"),
    [((), False), ((39,), False), ((40,), True), ((30, 30), False), ((39, 39, 39), True)],
)
def test_stitches_change_anyway_from_a_hundredth_or_forty_in_one_object(counts, anyway) -> None:
    xy = np.cumsum(np.tile([[20, 0], [0, 20]], (5000, 1)), axis=0).astype(np.int32)
    _, context = sewn((Kind.RUN, [(Role.TOP, xy)]))
    assert len(context.source.stitch_index) == 10_000
    assert _changed_anyway(saved(*counts), context, ORDER) is anyway
    assert not _changed_anyway(saved(*counts, state=State.VETOED), context, ORDER)
    # stitches that are added count as much
    more = [replace(c, before=c.after, after=c.before) for c in saved(*counts)]
    assert _changed_anyway(more, context, ORDER) is anyway


def in_blocks(*blocks):
    plan, context = sewn(
        *[(Kind.SATIN, [(Role.TOP, column(10, 2, y=5.0 * i))]) for i in range(len(blocks))]
    )
    plan = tuple(replace(o, block=b, thread=b) for o, b in zip(plan, blocks, strict=True))
    threads = tuple(Thread(k) for k in range(max(blocks) + 1))
    source = replace(context.source, threads=threads, colours_known=False)
    return plan, replace(context, source=source)


@pytest.mark.parametrize(
    ("blocks", "told"),
    [((0, 0, 1), ""), ((0, 1, 2), ""), ((1, 0, 2), "2, 1, 3"), ((0, 1, 0), "1, 2, 1")],
)
def test_blocks_in_a_new_order_are_told_by_their_numbers(blocks, told) -> None:
    plan, context = in_blocks(*blocks)
    note = " ".join(_block_note(plan, context))
    assert (f"source: {told}." in note) if told else note == ""
    known = replace(context, source=replace(context.source, colours_known=True))
    assert _block_note(plan, known) == ()


def test_without_colours_a_list_of_threads_is_asked_for() -> None:
    plan, context = in_blocks(0, 1, 2)
    (note,) = _notes(plan, Layering((), (), ()), context)
    assert "3 colour blocks are taken as 3 threads" in note
    one, alone = in_blocks(0, 0)
    assert _notes(one, Layering((), (), ()), alone) == ()
    known = replace(context, source=replace(context.source, colours_known=True))
    assert _notes(plan, Layering((), (), ()), known) == ()
    # with a list two blocks turned out to be one thread
    merged = (plan[0], replace(plan[1], thread=0), plan[2])
    assert _notes(merged, Layering((), (), ()), context) == ()


def test_what_no_order_can_bring_is_told_by_number() -> None:
    plan, context = in_blocks(0, 0, 0)
    (note,) = _notes(plan, Layering((), (), ((2, 0), (1, 0))), context)
    assert "No order can bring 2 under 0, 1 under 0" in note


def strewn(spots_mm, fmt="dst"):
    """A small column at each spot, every one a colour block of a thread that no one knows."""
    plan, context = sewn(*[(Kind.SATIN, [(Role.TOP, column(4, 2, x=x, y=y))]) for x, y in spots_mm])
    plan = tuple(replace(o, block=i, thread=i) for i, o in enumerate(plan))
    threads = tuple(Thread(i) for i in range(len(plan)))
    source = replace(context.source, threads=threads, colours_known=False, format=fmt)
    return plan, replace(context, source=source)


def ids(result) -> list[int]:
    return [o.id for o in result.plan]


CROSSED = [(0, 0), (100, 0), (0, 6), (100, 6), (0, 12), (100, 12)]
"""Three to the left and three to the right, sewn by turns."""


def test_blocks_of_unknown_thread_are_put_in_another_order_for_a_large_saving() -> None:
    plan, context = strewn(CROSSED)
    result = order(plan, context, saved(500))
    left, right = {0, 2, 4}, {1, 3, 5}
    assert {*ids(result)[:3]} in (left, right)
    assert "new order" in " ".join(result.facts.notes)


def test_blocks_of_unknown_thread_stay_where_little_is_saved() -> None:
    # in a row, two neighbours exchanged: another order of blocks saves a tenth or so
    plan, context = strewn([(12.0 * x, 0) for x in (0, 1, 2, 4, 3, 5, 6, 7, 8, 9)])
    changed = saved(500)
    assert ids(order(plan, context, changed)) == list(range(10))
    # where the threads are known the same blocks are free
    known = replace(context, source=replace(context.source, colours_known=True))
    assert ids(order(plan, known, changed)) != list(range(10))


def test_only_what_is_asked_for_is_put_in_a_new_order() -> None:
    # far joins by turns, but the profile leaves the order alone
    places = [0, 4, 1, 5, 2, 6, 3, 7]
    plan, context = sewn(*[(Kind.SATIN, [(Role.TOP, column(10, 2, x=12.0 * i))]) for i in places])
    fixes = context.profile.fixes - {"sequence"}
    left = replace(context, profile=replace(context.profile, fixes=fixes))
    touched = tuple(replace(o, marks=frozenset({"top"})) for o in plan)
    for given in (plan, touched):
        result = order(given, left)
        assert ids(result) == list(range(8))
        assert all(c.fix != "sequence" for c in result.changes)
    assert ids(order(plan, context)) != list(range(8))


def test_ends_of_changed_objects_are_chosen_without_a_change_of_the_order() -> None:
    """Their stitches change anyway, and the fix that changed them tells it."""
    columns = [(Kind.SATIN, [(Role.TOP, column(40, 2, y=y))]) for y in (0, 4)]
    plan, context = sewn(*columns)
    plan = tuple(replace(o, marks=frozenset({"top"})) for o in plan)
    fixes = context.profile.fixes - {"sequence"}
    left = replace(context, profile=replace(context.profile, fixes=fixes))
    result = order(plan, left)
    gap = result.plan[1].points(Role.TOP)[0] - result.plan[0].points(Role.TOP)[-1]
    assert np.hypot(*gap) <= 60
    assert all(c.fix != "sequence" for c in result.changes)


def test_what_is_proved_is_the_order_that_is_sewn() -> None:
    places = [0, 4, 1, 5, 2, 6, 3, 7]
    plan, context = sewn(*[(Kind.SATIN, [(Role.TOP, column(10, 2, x=12.0 * i))]) for i in places])
    assert order(plan, context).facts.proved
    vetoed = order(plan, replace(context, vetoed=frozenset({"sequence"})))
    assert ids(vetoed) == list(range(8))
    assert not vetoed.facts.proved


def test_underlay_that_lost_its_joint_is_joined_without_another_order() -> None:
    """A layer went that led from the underlay's end back to the top's begin: 18 mm, else one
    stitch over the column's whole length."""
    under = run([(1, 0), (19, 0)])
    stretches = [(Role.UNDERLAY, under), (Role.TOP, column(20, 3))]
    far = [(Role.TOP, column(20, 3, x=26))]
    plan, context = sewn((Kind.SATIN, stretches), (Kind.SATIN, far))
    plan = (replace(plan[0], marks=frozenset({"stack"})), plan[1])
    result = order(plan, context)
    xy = result.plan[0].points()
    assert np.hypot(*np.diff(xy, axis=0).T).max() <= 31
    assert np.hypot(*np.diff(plan[0].points(), axis=0).T).max() > 150


def test_travel_to_an_object_that_is_gone_is_not_sewn() -> None:
    """It led under what is no more: it would lie bare."""
    lead = run([(11, 0), (17, 0)])
    plan, context = sewn(
        (Kind.SATIN, [(Role.TOP, column(10, 2)), (Role.TRAVEL, lead)]),
        (Kind.SATIN, [(Role.TOP, column(10, 2, x=18))]),
        (Kind.SATIN, [(Role.TOP, column(10, 2, x=40))]),
    )
    assert Role.TRAVEL in [p.role for p in order(plan, context).plan[0].pieces]
    result = order((plan[0], plan[2]), context)
    assert Role.TRAVEL not in [p.role for p in result.plan[0].pieces]


def test_old_short_jumps_stay_untied_when_a_cut_elsewhere_is_new() -> None:
    from restitch.stitch.ties import tie_in, tie_off

    def tied(xy):
        return (Kind.SATIN, [(Role.TIE, tie_in(xy)), (Role.TOP, xy), (Role.TIE, tie_off(xy))])

    bodies = [tied(column(10, 3, x=20.0 * i)) for i in range(4)]
    near = (Kind.SATIN, [(Role.TOP, column(10, 3, x=73.0))]), (
        Kind.SATIN, [(Role.TOP, column(10, 3, x=86.0))]
    )  # fmt: skip
    plan, context = sewn(*bodies, *near)
    context = replace(context, source=replace(context.source, format="dst"))
    jumps = tuple(
        replace(o, pieces=(replace(o.pieces[0], link=Link.JUMP), *o.pieces[1:])) for o in plan[4:]
    )
    plan = (*plan[:4], *jumps)
    # one in the middle is gone: a join is new, the two short jumps at the end are not
    result = order((plan[0], *plan[2:]), context)
    by_id = {o.id: [p.role for p in o.pieces] for o in result.plan}
    assert by_id[4][0] is Role.TOP
    assert by_id[5][0] is Role.TOP
    assert by_id[4][-1] is Role.TOP

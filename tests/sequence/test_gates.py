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

"""What must stay before what: halts, vetoes, what the guard holds, blocks of unknown thread."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from restitch.check.judge_layering import Buried
from restitch.model import Command, Kind, Link, Role, Thread, read_only
from restitch.sequence.precedence import (
    block_order,
    blocks_tell_threads,
    layering_of,
    pauses,
    swap_id,
)
from stitched import column, sewn


def four_columns():
    """Four columns side by side, one colour block each."""
    plan, context = sewn(*[(Kind.SATIN, [(Role.TOP, column(10, 2, y=5.0 * i))]) for i in range(4)])
    threads = tuple(Thread(colour) for colour in (0x202020, 0x804020, 0x208040, 0x204080))
    source = replace(context.source, threads=threads)
    return tuple(replace(o, block=i) for i, o in enumerate(plan)), replace(context, source=source)


@pytest.mark.parametrize(
    ("colours", "needles", "told"),
    [(True, False, False), (True, True, False), (False, True, False), (False, False, True)],
)
def test_only_without_colours_and_needles_does_a_blocks_place_tell_its_thread(
    colours, needles, told
) -> None:
    _, context = four_columns()
    command = context.source.command.copy()
    if needles:
        command[0] = Command.NEEDLE_SET
    source = replace(context.source, colours_known=colours, command=read_only(command))
    assert blocks_tell_threads(replace(context, source=source)) is told


def test_blocks_keep_their_order_but_what_is_inside_one_is_free() -> None:
    plan, _ = four_columns()
    plan = (plan[0], replace(plan[1], block=0), plan[2], replace(plan[3], block=2))
    assert set(block_order(plan)) == {(0, 2), (0, 3), (1, 2), (1, 3)}


def test_a_stop_keeps_everything_on_its_side() -> None:
    plan, context = four_columns()
    assert pauses(plan, context) == ()
    first = replace(plan[2].pieces[0], link=Link.STOP)
    stopped = (*plan[:2], replace(plan[2], pieces=(first,)), plan[3])
    assert set(pauses(stopped, context)) == {(0, 2), (1, 2), (2, 3)}


def test_the_block_that_goes_on_with_its_thread_is_a_halt_where_colours_are_known() -> None:
    plan, context = four_columns()
    threads = context.source.threads
    again = replace(context.source, threads=(threads[0], threads[1], threads[1], threads[3]))
    known = replace(context, source=again)
    assert set(pauses(plan, known)) == {(0, 2), (1, 2), (2, 3)}
    unknown = replace(context, source=replace(again, colours_known=False))
    assert pauses(plan, unknown) == ()
    # only the first object of the block stands behind the halt
    wide = (plan[0], plan[1], plan[2], replace(plan[3], block=2))
    assert set(pauses(wide, known)) == {(0, 2), (1, 2), (2, 3)}


def wanted(plan, lower, upper):
    return Buried(before=plan[lower].id, after=plan[upper].id, rule="ends")


def test_a_swap_is_made_unless_the_user_or_the_guard_says_no() -> None:
    plan, context = four_columns()
    found = [wanted(plan, 3, 1)]
    assert layering_of(plan, [(1, 3)], found, context).pairs == ((3, 1),)
    no = replace(context, vetoed=frozenset({swap_id(plan[3], plan[1])}))
    assert layering_of(plan, [(1, 3)], found, no).pairs == ((1, 3),)
    held = replace(context, kept_pairs=frozenset({(plan[1].id, plan[3].id)}))
    layers = layering_of(plan, [(1, 3)], found, held)
    assert layers.pairs == ((1, 3),)
    assert layers.refused == ((3, 1),)


def test_a_veto_holds_the_pair_when_another_swap_would_turn_it_along() -> None:
    # 2 lies over 1 and under 3; 3 belongs under 1, and would take 2 along
    plan, context = four_columns()
    present, found = [(1, 2), (2, 3), (1, 3)], [wanted(plan, 3, 1)]
    assert layering_of(plan, present, found, context).along == ((2, 1),)
    no = replace(context, vetoed=frozenset({swap_id(plan[2], plan[1])}))
    assert layering_of(plan, present, found, no).refused == ((3, 1),)


def test_other_vetoes_and_objects_that_are_gone_hold_nothing() -> None:
    plan, context = four_columns()
    names = {"layering-1-2-3", "layering-7", "layering-99999-0", "stack-0", "sequence"}
    away = replace(context, vetoed=frozenset(names), kept_pairs=frozenset({(0, 99), (99, 1)}))
    assert layering_of(plan, [(0, 1)], [wanted(plan, 3, 1)], away).pairs == ((0, 1), (3, 1))


def test_ids_of_swaps_are_read_back_whole() -> None:
    plan, _ = four_columns()
    assert swap_id(plan[3], plan[1]) == f"layering-{plan[3].first_record}-{plan[1].first_record}"
    assert len(np.unique([o.first_record for o in plan])) == 4

"""The sewing order of whole designs: layering kept, nothing lost, never worse, all ends tied."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from invented import broken_pairs, planned, present_pairs, sewn, top_points

from restitch.measure import measure
from restitch.model import Link, State, Stream
from restitch.plan import links_of, plan_of
from restitch.sequence import order

DRAWINGS = ("bakehouse", "harbour_shield", "cap_name", "compass_rose")
BROKEN = ("scrambled", "far_joins")


@cache
def ordered(drawing: str, *, fabric: str = "twill", vetoed=frozenset(), **case):
    plan, context = planned(drawing, fabric=fabric, vetoed=vetoed, **case)
    return plan, context, order(plan, context)


@pytest.mark.parametrize("drawing", DRAWINGS)
def test_the_layering_is_kept(drawing: str) -> None:
    plan, _, result = ordered(drawing, breakers=BROKEN)
    assert result.plan is not plan
    assert broken_pairs(result.plan, present_pairs(plan)) == []


@pytest.mark.parametrize("drawing", DRAWINGS)
def test_no_visible_hole_is_lost_or_made(drawing: str) -> None:
    plan, _, result = ordered(drawing, breakers=BROKEN)
    before, after = top_points(plan), top_points(result.plan)
    assert before.keys() == after.keys()
    for id_, holes in before.items():
        assert np.array_equal(holes, after[id_])


@pytest.mark.parametrize(
    ("drawing", "fmt"),
    [("bakehouse", "jef"), ("harbour_shield", "vp3"), ("compass_rose", "pes"), ("cap_name", "xxx")],
)
def test_never_worse_and_every_end_tied(drawing: str, fmt: str) -> None:
    plan, context, result = ordered(drawing, fmt=fmt, breakers=BROKEN)
    before, after = measure(context.source), measure(sewn(result.plan, context).stream)
    assert after.colour_changes <= before.colour_changes
    assert after.jump_mm < 0.8 * before.jump_mm
    assert after.trims <= before.trims
    assert len(result.plan) == len(plan)
    assert loose_ends(sewn(result.plan, context).stream) == 0


def loose_ends(stream: Stream) -> int:
    """Starts and ends at cuts with fewer than 3 short stitches among the 4 next to them (three
    locking stitches: common practice)."""
    xy = stream.xy[stream.stitch_index].astype(float)
    link = links_of(stream)
    step = np.hypot(*np.diff(xy, axis=0).T) / 10
    cut = np.append(np.flatnonzero(link[1:] >= 2), len(xy) - 1)
    start = np.append(0, cut[:-1] + 1)
    short = (link[1:] == 0) & (step <= 1.05)
    after = [short[s : s + 4].sum() < 3 for s in start]
    before = [short[max(0, c - 4) : c].sum() < 3 for c in cut]
    return sum(after) + sum(before)


@pytest.mark.parametrize("drawing", [*DRAWINGS, "line_sampler", "wreath", "lace"])
def test_sound_designs_are_left_as_they_are(drawing: str) -> None:
    plan, _, result = ordered(drawing)
    assert result.changes == ()
    assert all(a is b for a, b in zip(plan, result.plan, strict=True))


def test_deterministic() -> None:
    plan, context, one = ordered("cap_name", breakers=BROKEN)
    two = order(plan, context)
    assert [o.id for o in one.plan] == [o.id for o in two.plan]
    assert all(
        np.array_equal(p.xy, q.xy)
        for a, b in zip(one.plan, two.plan, strict=True)
        for p, q in zip(a.pieces, b.pieces, strict=True)
    )
    assert one.changes == two.changes


def test_missing_trims_and_ties_are_added_where_nothing_else_changes() -> None:
    plan, context, result = ordered("small_lines", fmt="exp", breakers=("uncut",))
    assert [c.id for c in result.changes] == ["links"]
    assert [o.id for o in result.plan] == [o.id for o in plan]
    stream = sewn(result.plan, context).stream
    figures = measure(stream)
    assert figures.trims > measure(context.source).trims
    assert loose_ends(stream) == 0


def test_a_veto_keeps_the_order() -> None:
    plan, _, result = ordered("cap_name", breakers=("far_joins",), vetoed=frozenset({"sequence"}))
    (change,) = (c for c in result.changes if c.fix == "sequence")
    assert change.state is State.VETOED
    assert [o.id for o in result.plan] == [o.id for o in plan]


def test_ends_sewn_over_their_border_go_under_it_unless_vetoed() -> None:
    plan, context, result = ordered("compass_rose", breakers=("over_border",))
    swaps = [c for c in result.changes if c.fix == "layering"]
    assert swaps
    under, over = swaps[0].objects
    place = {o.id: i for i, o in enumerate(result.plan)}
    assert place[under] < place[over]
    held = replace(context, vetoed=frozenset({swaps[0].id}))
    again = order(plan, held)
    place = {o.id: i for i, o in enumerate(again.plan)}
    assert place[under] > place[over]
    state = {c.id: c.state for c in again.changes}
    assert state[swaps[0].id] is State.VETOED


def test_far_joins_are_found_and_mended() -> None:
    _, context, result = ordered("cap_name", breakers=("far_joins",))
    before, after = measure(context.source), measure(sewn(result.plan, context).stream)
    assert after.jump_mm < 0.5 * before.jump_mm
    assert after.jumps < before.jumps


def test_a_stop_holds_everything_on_its_side() -> None:
    plan, _, result = ordered("applique", breakers=("far_joins",))
    held = {o.id for o in plan if any(p.link is Link.STOP for p in o.pieces)}
    assert held
    before = [o.id for o in plan]
    after = [o.id for o in result.plan]
    for stop in held:
        assert set(before[: before.index(stop)]) == set(after[: after.index(stop)])


def test_a_block_that_goes_on_with_its_thread_is_a_halt() -> None:
    # jef and the like store a stop as a colour change: two blocks of one thread in a row
    plan, context = planned("applique", fmt="exp", breakers=("far_joins",))
    threads = context.source.threads
    at = next(b for b in range(1, len(threads)) if threads[b] == threads[b - 1])
    known = replace(context.source, colours_known=True)
    plan = plan_of(known, tuple(context.objects.values()))
    result = order(plan, replace(context, source=known))
    first = next(i for i, o in enumerate(plan) if o.block == at)
    before = {o.id for o in plan[:first]}
    assert {o.id for o in result.plan[:first]} == before
    assert len({o.block for o in result.plan}) == len(threads)


def test_blocks_keep_their_order_where_only_their_place_tells_the_thread() -> None:
    result = ordered("compass_rose", fmt="dst", breakers=("far_joins",))[2]
    assert any(c.fix == "sequence" for c in result.changes)
    blocks = [o.block for o in result.plan]
    assert blocks == sorted(blocks)
    assert "list of threads" in " ".join(result.facts.notes)


def test_a_new_order_of_such_blocks_is_told() -> None:
    result = ordered("compass_rose", fmt="dst", breakers=("over_border",))[2]
    blocks = [o.block for o in result.plan]
    assert blocks != sorted(blocks)
    assert "new order" in " ".join(result.facts.notes)

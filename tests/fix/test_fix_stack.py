"""Fix ``stack``: one layer stays, stitch for stitch."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.fabrics.model import UnderlayRule
from restitch.fix import stack
from restitch.geometry import ladder
from restitch.model import Kind, Link, Role, State
from restitch.stitch.column import column_underlay
from restitch.stitch.ties import tie_in, tie_off
from stitched import column, fill, same_plan, sewn, units


def raised(layers: int, length=20.0, x=0.0):
    """A tied column on an edge run, its satin sewn over itself, each layer back over the last."""
    widths = np.linspace(3.0, 2.0, layers)[::-1]
    tops = [column(length, w, 0.4, x=x) for w in widths]
    # the visible layer runs forward, every layer below it the other way in turn
    tops = [xy if (layers - 1 - i) % 2 == 0 else xy[::-1] for i, xy in enumerate(tops)]
    under = column_underlay(ladder(tops[-1]), UnderlayRule(), leave=(layers - 1) % 2)
    stretches = [(Role.TIE, tie_in(under)), (Role.UNDERLAY, under)]
    stretches += [(Role.TOP, xy, layers - 1 - i) for i, xy in enumerate(tops)]
    return Kind.SATIN, [*stretches, (Role.TIE, tie_off(tops[-1]))]


@given(st.integers(2, 5), st.floats(8, 40))
@settings(max_examples=20, deadline=None)
def test_a_raised_satin_keeps_its_top_layer_stitch_for_stitch(layers, length):
    plan, context = sewn(raised(layers, length))
    fixed, changes = stack.run(plan, context)
    top = [p for p in fixed[0].pieces if p.role is Role.TOP]
    assert len(top) == 1
    assert np.array_equal(top[0].xy, plan[0].pieces[-2].xy)
    assert top[0].source == plan[0].pieces[-2].source
    assert fixed[0].marks == {"stack"}
    assert changes[0].id == "stack-0"
    assert changes[0].cause == "stacked satin"
    assert f"sewn {layers} times over itself" in changes[0].reason
    assert changes[0].before["layers"] > changes[0].after["layers"]
    # the thread that leads in stays under the cover: no stitch over two travel stitches
    body = fixed[0].points()
    assert np.hypot(*np.diff(body, axis=0).T).max() <= 10 * np.hypot(3.0, 3.5)


@given(st.integers(2, 5), st.floats(8, 40))
@settings(max_examples=15, deadline=None)
def test_a_second_run_changes_nothing(layers, length):
    plan, context = sewn(raised(layers, length), raised(2, 12, x=60.0))
    once, _ = stack.run(plan, context)
    twice, changes = stack.run(once, context)
    assert not changes
    assert twice is once


def test_sound_objects_are_not_touched():
    plan, context = sewn(
        (Kind.SATIN, [(Role.TOP, column())]), (Kind.FILL, [(Role.TOP, fill(y=20.0))])
    )
    fixed, changes = stack.run(plan, context)
    assert fixed is plan
    assert changes == ()


def doubled():
    """One object sewn twice, each copy tied, a cut between."""
    xy = column(30, 3)
    tie = (Role.TIE, tie_in(xy))
    off = (Role.TIE, tie_off(xy))
    first, count = [(*tie, 1), (Role.TOP, xy, 1), off], len(xy) + 6
    return [*first, tie, (Role.TOP, xy), off], count


def test_of_a_doubled_object_one_stays_with_one_tie_at_each_end():
    stretches, count = doubled()
    plan, context = sewn((Kind.SATIN, stretches))
    fixed, changes = stack.run(plan, context)
    assert [p.role for p in fixed[0].pieces] == [Role.TIE, Role.TOP, Role.TIE]
    assert sum(len(p.xy) for p in fixed[0].pieces) == count
    assert fixed[0].pieces[0].link is plan[0].pieces[0].link
    assert changes[0].stitches_saved == count


@pytest.mark.parametrize("fields", [{"copy_of": {1: 0}}, {"hidden": {1: True}}])
def test_copies_and_hidden_objects_go_whole(fields):
    body = (Kind.SATIN, [(Role.TOP, column(40))])
    after = (Kind.SATIN, [(Role.TOP, column(40, y=10.0))])
    plan, context = sewn(body, body, after, **fields)
    fixed, changes = stack.run(plan, context)
    assert [o.id for o in fixed] == [0, 2]
    assert changes[0].objects == (1,)
    assert fixed[1].pieces[0].link is Link.TRIM


def test_of_what_goes_whole_nothing_is_left_in_the_figures():
    xy = column(40)
    body = (Kind.SATIN, [(Role.TOP, xy)])
    for fields, word in (
        ({"copy_of": {1: 0}}, "doubled object"),
        ({"hidden": {1: True}}, "hidden"),
    ):
        plan, context = sewn(body, body, **fields)
        (change,) = stack.run(plan, context)[1]
        assert word in change.cause
        assert change.before["stitches"] == len(xy)
        # 40 x 2 mm of satin at 0.4 mm: 200 strokes of 2.01 mm on 80 mm2, by 5 mm a mm2 one layer
        assert change.before["layers"] == pytest.approx(1.0, abs=0.1)
        assert change.after == {"stitches": 0, "layers": 0.0}
        assert f"{len(xy)} stitches out" in change.reason


def test_layers_are_told_by_the_thread_on_the_cloth():
    plan, context = sewn(raised(3))
    (change,) = stack.run(plan, context)[1]
    count = sum(len(p.xy) for p in plan[0].pieces)
    out = sum(len(p.xy) for p in plan[0].pieces if p.layer)
    assert change.before["stitches"] == count
    assert change.before["layers"] == pytest.approx(2.6, abs=0.3)
    assert change.after["layers"] == pytest.approx(1.1, abs=0.2)
    # what leads to the top anew is counted too
    assert count - out <= change.after["stitches"] <= count - out + 10


def test_the_thread_runs_along_the_middle_to_where_the_cover_begins():
    """Under the cover, in stitches of underlay (2 to 3 mm: trade rules 2.4)."""
    under = units([(1, 0), (3, 0), (5, 0), (7, 0), (9, 0), (11, 0), (13, 0), (15, 0), (17, 0)])
    lower, top = column(20, 2.6)[::-1], column(20, 3)
    plan, context = sewn(
        (Kind.SATIN, [(Role.UNDERLAY, under), (Role.TOP, lower, 1), (Role.TOP, top)])
    )
    fixed, _ = stack.run(plan, context)
    assert [p.role for p in fixed[0].pieces] == [Role.UNDERLAY, Role.TRAVEL, Role.TOP]
    way = fixed[0].pieces[1].xy
    assert np.abs(way[:, 1]).max() <= 8
    assert (np.diff(way[:, 0]) < 0).all()
    joined = np.concatenate([under[-1:], way, top[:1]])
    steps = np.hypot(*np.diff(joined, axis=0).T)
    assert steps.max() <= 24
    assert steps.min() >= 10


def test_no_way_is_laid_where_the_underlay_ends_next_to_the_top():
    under = units([(17, 0), (15, 0), (13, 0), (11, 0), (9, 0), (7, 0), (5, 0), (3, 0), (1, 0)])
    lower, top = column(20, 2.6), column(20, 3)
    plan, context = sewn(
        (Kind.SATIN, [(Role.UNDERLAY, under), (Role.TOP, lower, 1), (Role.TOP, top)])
    )
    fixed, _ = stack.run(plan, context)
    assert [p.role for p in fixed[0].pieces] == [Role.UNDERLAY, Role.TOP]


def test_a_fill_is_entered_by_a_straight_way_under_its_cover():
    under = units([(1, 1), (4, 1), (7, 1), (10, 1), (13, 1), (16, 1), (19, 1)])
    top = fill(20, 10)
    plan, context = sewn((Kind.FILL, [(Role.UNDERLAY, under), (Role.TOP, top, 1), (Role.TOP, top)]))
    fixed, _ = stack.run(plan, context)
    assert [p.role for p in fixed[0].pieces] == [Role.UNDERLAY, Role.TRAVEL, Role.TOP]
    way = fixed[0].pieces[1].xy
    assert np.abs(way[:, 1] - 5).max() <= 6
    assert len(way) == pytest.approx(19 / 2.2, abs=1.5)


@pytest.mark.parametrize(
    ("first", "second", "left"),
    [
        (Link.SEWN, Link.TRIM, Link.TRIM),
        (Link.TRIM, Link.SEWN, Link.TRIM),
        (Link.JUMP, Link.TRIM, Link.TRIM),
        (Link.TRIM, Link.JUMP, Link.TRIM),
        (Link.SEWN, Link.SEWN, Link.SEWN),
    ],
)
def test_a_cut_before_a_layer_that_goes_is_kept(first, second, left):
    """Else thread lies loose across the object."""
    under = units([(17, 0), (13, 0), (9, 0), (5, 0), (1, 0)])
    lower, top = column(20, 2.6), column(20, 3)
    plan, context = sewn(
        (Kind.SATIN, [(Role.UNDERLAY, under), (Role.TOP, lower, 1), (Role.TOP, top)])
    )
    a, b, c = plan[0].pieces
    plan = (replace(plan[0], pieces=(a, replace(b, link=first), replace(c, link=second))),)
    fixed, _ = stack.run(plan, context)
    assert [p.role for p in fixed[0].pieces] == [Role.UNDERLAY, Role.TOP]
    assert fixed[0].pieces[1].link is left


@pytest.mark.parametrize("layer", [0, 1])
def test_a_tie_right_before_the_layer_that_stays_is_kept_if_it_is_its_own(layer):
    lower, top = column(20, 2.6)[::-1], column(20, 3)
    tie = tie_in(top)
    plan, context = sewn(
        (Kind.SATIN, [(Role.TOP, lower, 1), (Role.TIE, tie, layer), (Role.TOP, top)])
    )
    fixed, _ = stack.run(plan, context)
    roles = [p.role for p in fixed[0].pieces]
    assert roles == ([Role.TIE, Role.TOP] if layer == 0 else [Role.TOP])
    assert fixed[0].marks == {"stack", "entry"}


def test_a_start_that_loses_its_tie_gets_one_where_it_begins_now():
    lower, top = column(20, 2.6)[::-1], column(20, 3)
    far = tie_in(lower)
    plan, context = sewn((Kind.SATIN, [(Role.TIE, far, 1), (Role.TOP, lower, 1), (Role.TOP, top)]))
    fixed, _ = stack.run(plan, context)
    tie, body = fixed[0].pieces
    assert tie.role is Role.TIE
    assert np.array_equal(tie.xy, tie_in(top))
    assert tie.link is plan[0].pieces[0].link
    assert body.link is Link.SEWN
    assert np.array_equal(body.xy, top)
    # one that stands there already is taken over as it is
    near = tie_in(top)
    plan, context = sewn((Kind.SATIN, [(Role.TIE, near, 1), (Role.TOP, top, 1), (Role.TOP, top)]))
    fixed, _ = stack.run(plan, context)
    assert np.array_equal(fixed[0].pieces[0].xy, near)
    assert fixed[0].pieces[0].layer == 0


def test_a_copy_keeps_its_place_when_its_original_is_gone():
    body = (Kind.SATIN, [(Role.TOP, column(40))])
    plan, context = sewn(body, body, copy_of={1: 0})
    assert stack.run(plan[1:], context)[0] == plan[1:]


def test_a_little_surplus_in_a_big_file_is_a_misreading():
    big = (Kind.FILL, [(Role.TOP, fill(80, 60))])
    small = (Kind.SATIN, [(Role.TOP, column(2, y=-10.0), 1), (Role.TOP, column(2, y=-10.0))])
    plan, context = sewn(big, small)
    assert stack.run(plan, context) == (plan, ())


def test_a_vetoed_change_is_told_but_not_made():
    plan, context = sewn(raised(3), vetoed=["stack-0"])
    fixed, changes = stack.run(plan, context)
    assert same_plan(fixed, plan)
    assert [c.state for c in changes] == [State.VETOED]


def test_objects_read_without_confidence_are_left_alone():
    plan, context = sewn(raised(3), confidence={0: 0.2})
    assert stack.run(plan, context) == (plan, ())

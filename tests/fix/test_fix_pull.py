"""Fix ``pull``: on request, by the fabric's share or a stated amount, closing no gap."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.fabrics import default_profile
from restitch.fix import pull
from restitch.fix.context import Context
from restitch.geometry import ladder, outline
from restitch.model import Kind, Role
from stitched import arc, column, fill, run, sewn


def satin(xy):
    return Kind.SATIN, [(Role.TOP, xy)]


def stated(context: Context, amount: float) -> Context:
    return replace(context, profile=replace(context.profile, pull_mm=amount))


@pytest.mark.parametrize(
    ("fabric", "width", "added"),
    [("twill", 4.0, 0.4), ("twill", 1.0, 0.2), ("twill", 9.0, 0.6), ("fleece", 4.0, 0.6)],
)
def test_columns_grow_by_the_fabrics_share_within_its_limits(fabric, width, added):
    """At least 10 % of the width, more on thicker ground (course text on pull compensation)."""
    plan, context = sewn(satin(column(40, width)), fabric=fabric)
    fixed, changes = pull.run(plan, context)
    grown = ladder(fixed[0].points()).width_mm - ladder(plan[0].points()).width_mm
    assert grown == pytest.approx(added, abs=0.11)
    assert changes[0].after["widened_mm"] == pytest.approx(added, abs=0.01)
    assert len(fixed[0].points()) == len(plan[0].points())


def test_it_runs_only_when_asked_for():
    assert "pull" not in default_profile("twill").fixes


def test_fill_rows_grow_at_both_ends_and_keep_their_holes():
    plan, context = sewn((Kind.FILL, [(Role.TOP, fill(30, 20))]))
    fixed, _ = pull.run(plan, stated(context, 0.6))
    x = fixed[0].points()[:, 0]
    assert x.min() == -3
    assert x.max() == 303
    inner = (plan[0].points()[:, 0] > 0) & (plan[0].points()[:, 0] < 300)
    assert np.array_equal(fixed[0].points()[inner], plan[0].points()[inner])


@given(gap=st.floats(0.3, 3.0), amount=st.floats(0.2, 1.0))
@settings(max_examples=40, deadline=None)
def test_no_gap_is_made_narrower_than_a_millimetre(gap, amount):
    """At least 1 mm between neighbours where a space is wanted (compiled training articles)."""
    plan, context = sewn(satin(column(30, 3)), satin(column(30, 3, y=3 + gap)))
    fixed, _ = pull.run(plan, stated(context, amount))
    left = outline(fixed[0]).distance(outline(fixed[1]))
    was = outline(plan[0]).distance(outline(plan[1]))
    assert left >= min(was, 1.0) - 0.11


@given(inner=st.floats(0.3, 3.0))
@settings(max_examples=20, deadline=None)
def test_no_counter_is_made_narrower_than_a_millimetre(inner):
    ring = arc(radius=inner + 1.5, width=3, degrees=360)
    plan, context = sewn(satin(ring))
    fixed, _ = pull.run(plan, stated(context, 1.0))
    reach = np.hypot(*(fixed[0].points() / 10.0).T).min()
    assert 2 * reach >= min(2 * inner, 1.0) - 0.25


def test_parts_that_touch_may_overlap_more_and_runs_stay():
    border = column(30, 3)
    below = fill(30, 10, y=1.5)
    line = run([(0, -20), (30, -20)])
    plan, context = sewn(
        satin(border), (Kind.FILL, [(Role.TOP, below)]), (Kind.RUN, [(Role.TOP, line)])
    )
    fixed, changes = pull.run(plan, stated(context, 0.6))
    assert {i for c in changes for i in c.objects} == {0, 1}
    assert fixed[2] is plan[2]
    assert outline(fixed[0]).bounds[3] == pytest.approx(1.8, abs=0.06)


def test_a_wall_on_one_side_leaves_the_other_side_free():
    plan, context = sewn(satin(column(30, 3)), satin(column(30, 3, y=4.0)))
    fixed, _ = pull.run(plan, stated(context, 0.8))
    assert outline(fixed[0]).bounds[1] == pytest.approx(-1.9, abs=0.06)
    assert outline(fixed[0]).bounds[3] == pytest.approx(1.5, abs=0.06)
    assert shapely.is_valid(outline(fixed[0]))


@pytest.mark.parametrize(("fabric", "drawn"), [("performance", 0.24), ("twill", 0.0)])
def test_free_ends_are_drawn_in_by_what_the_width_gains(fabric, drawn):
    """Columns 10 to 15 % wider, ends shortened by the same, on performance wear (AllStitch)."""
    plan, context = sewn(satin(column(20, 4)), fabric=fabric)
    fixed, changes = pull.run(plan, context)
    low, _, high, _ = outline(fixed[0]).bounds
    assert low == pytest.approx(drawn, abs=0.06)
    assert high == pytest.approx(20 - drawn, abs=0.06)
    assert ("2 free ends drawn in" in changes[0].reason) == bool(drawn)
    assert len(fixed[0].points()) == len(plan[0].points())


def test_an_end_at_a_neighbour_stays_or_the_joint_would_open():
    stem = column(20, 4, x=22, y=-10, angle_deg=90)
    plan, context = sewn(satin(column(20, 4)), satin(stem), fabric="performance")
    assert outline(plan[0]).distance(outline(plan[1])) < 0.05
    fixed, changes = pull.run(plan, stated(context, 0.6))
    assert outline(fixed[0]).bounds[0] == pytest.approx(0.3, abs=0.06)
    assert outline(fixed[0]).distance(outline(fixed[1])) < 0.05
    assert "one free end drawn in" in changes[0].reason


def test_an_end_that_meets_a_neighbour_stays_at_either_end():
    bar = column(20, 4)
    for x, drawn in ((-2, (False, True)), (22, (True, False))):
        plan, context = sewn(
            satin(bar), satin(column(20, 4, x=x, y=-10, angle_deg=90)), fabric="performance"
        )
        fixed, _ = pull.run(plan, stated(context, 0.6))
        low, _, high, _ = outline(fixed[0]).bounds
        assert (low > 0.2, high < 19.8) == drawn


def test_a_neighbour_is_seen_as_far_as_growth_can_reach_and_no_farther():
    """Both sides of a gap take half of what is over a millimetre: 1.5 mm gives each a quarter."""
    for gap, grown in ((1.5, 0.25), (2.0, 0.5), (2.5, 0.75), (3.2, 1.0)):
        plan, context = sewn(satin(column(30, 3)), satin(column(30, 3, y=3 + gap)))
        fixed, _ = pull.run(plan, stated(context, 2.0))
        assert outline(fixed[0]).bounds[3] - 1.5 == pytest.approx(grown, abs=0.06)
        assert outline(fixed[0]).bounds[1] + 1.5 == pytest.approx(-1.0, abs=0.06)


def test_underlay_and_hidden_layers_are_not_widened():
    under, below, top = run([(1, 0), (29, 0)]), column(30, 2.5), column(30, 3)
    plan, context = sewn(
        (Kind.SATIN, [(Role.UNDERLAY, under), (Role.TOP, below, 1), (Role.TOP, top)])
    )
    fixed, changes = pull.run(plan, stated(context, 0.6))
    assert [a is b for a, b in zip(fixed[0].pieces, plan[0].pieces, strict=True)] == [
        True,
        True,
        False,
    ]
    assert changes[0].before == {"stitches": len(under) + len(below) + len(top), "widened_mm": 0.0}
    assert changes[0].after["widened_mm"] == pytest.approx(0.6, abs=0.01)
    assert "column widened by 0.60 mm" in changes[0].reason


@given(length=st.floats(1.5, 25), width=st.floats(1.0, 6.0), amount=st.floats(0.2, 1.0))
@settings(max_examples=30, deadline=None)
def test_drawing_ends_in_brings_strokes_closer_by_a_tenth_at_most(length, width, amount):
    plan, context = sewn(satin(column(length, width)), fabric="performance")
    fixed, _ = pull.run(plan, stated(context, amount))
    was, now = ladder(plan[0].points()), ladder(fixed[0].points())
    assert now.length_mm >= 0.9 * was.length_mm - 0.15
    assert now.length_mm <= was.length_mm + 0.05
    assert now.widths_mm.max() <= was.widths_mm.max() + amount + 0.11


def test_holes_of_a_split_column_move_with_their_strokes():
    from restitch.stitch.lines import to_units
    from restitch.stitch.satin import split_strokes

    split = to_units(split_strokes(column(30, 9) / 10.0, 7.2))
    plan, context = sewn(satin(split), fabric="performance")
    fixed, _ = pull.run(plan, context)
    rungs, xy = ladder(split), fixed[0].points() / 10.0
    assert rungs.holes_inside.all()
    for first, last in zip(rungs.first, rungs.last, strict=True):
        inner = xy[first : last + 1] - xy[first]
        chord = inner[-1] / np.hypot(*inner[-1])
        assert np.abs(inner[:, 0] * chord[1] - inner[:, 1] * chord[0]).max() < 0.15


def test_rings_have_no_ends_to_draw_in():
    plan, context = sewn(satin(arc(radius=10, width=3, degrees=360)), fabric="performance")
    _, changes = pull.run(plan, context)
    assert "drawn in" not in changes[0].reason

"""Fix ``underlay``: judged by shape, laid by the fabric's rule, judged again."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.check.judge_underlay import underlay_verdicts
from restitch.fabrics.model import UnderlayRule
from restitch.fix import underlay
from restitch.geometry import ladder
from restitch.model import Kind, Link, Role, State
from restitch.stitch.column import column_underlay
from restitch.stitch.ties import tie_in, tie_off
from stitched import arc, column, fill, piece, same_plan, sewn, units

FABRICS = (
    "twill", "denim", "pique", "jersey", "performance", "fleece",
    "terry", "sweater", "cap", "nylon", "leather", "patch",
)  # fmt: skip


def dense_zigzag(length, width, pitch=1.6, y=0.0):
    """Zigzag holes a third of the width off the centre line, ``pitch`` same side to same side."""
    count = round(2 * length / pitch)
    along = np.linspace(0.4, length - 0.4, count + 1)
    across = np.where(np.arange(count + 1) % 2 == 0, -width / 3, width / 3)
    return units(np.stack([along, across], axis=1)) + np.array([0, round(10 * y)], np.int32)


def columns(make, widths, lengths):
    return [
        (Kind.SATIN, make(length, width, 8.0 * i))
        for i, (width, length) in enumerate(zip(widths, lengths, strict=True))
    ]


def on_zigzag(length, width, y):
    xy = column(length, width, y=y)
    under = dense_zigzag(length, width, y=y)
    return [(Role.TIE, tie_in(under)), (Role.UNDERLAY, under), (Role.TOP, xy)]


def sound(length, width, y):
    xy = column(length, width, y=y)
    under = column_underlay(ladder(xy), UnderlayRule())
    return [(Role.TIE, tie_in(under)), (Role.UNDERLAY, under), (Role.TOP, xy)]


def bare(length, width, y):
    xy = column(length, width, y=y)
    return [(Role.TIE, tie_in(xy)), (Role.TOP, xy), (Role.TIE, tie_off(xy))]


@pytest.mark.parametrize("fabric", FABRICS)
@pytest.mark.parametrize("make", [on_zigzag, bare])
def test_unsuited_and_missing_underlay_is_replaced_and_a_second_run_is_content(fabric, make):
    plan, context = sewn(*columns(make, (1.2, 2.0, 2.6, 2.9), (20, 30, 25, 40)), fabric=fabric)
    fixed, changes = underlay.run(plan, context)
    assert {i for c in changes for i in c.objects} == {0, 1, 2, 3}
    for before, after in zip(plan, fixed, strict=True):
        top = [p for p in after.pieces if p.role is Role.TOP]
        assert np.array_equal(top[0].xy, before.points(Role.TOP))
        assert top[0].source == next(p for p in before.pieces if p.role is Role.TOP).source
        assert after.pieces[0].role is Role.TIE
        assert (after.pieces[0].xy[0] == after.pieces[1].xy[0]).all()
        assert after.pieces[0].link is before.pieces[0].link
    assert underlay.run(fixed, context) == (fixed, ())


@given(
    st.lists(st.tuples(st.floats(0.9, 9.0), st.floats(5, 40)), min_size=1, max_size=6),
    st.sampled_from(FABRICS),
)
@settings(max_examples=25, deadline=None)
def test_sound_underlay_is_not_touched(sizes, fabric):
    widths, lengths = zip(*sizes, strict=True)
    plan, context = sewn(*columns(sound, widths, lengths), fabric=fabric)
    assert underlay.run(plan, context) == (plan, ())


def test_a_dense_zigzag_under_a_wide_border_gives_way_to_edge_run_and_open_zigzag():
    border = arc(radius=25, width=4.4, degrees=340)
    rungs = ladder(border)
    left, right = (rail[::2] for rail in rungs.rails_mm)
    inner = 0.25 * left + 0.75 * right, 0.75 * left + 0.25 * right
    zigzag = np.empty((2 * len(left), 2))
    zigzag[0::2], zigzag[1::2] = inner
    under = units(zigzag[::2])
    under[1::2] = units(zigzag[1::2])[::2][: len(under[1::2])]
    plan, context = sewn((Kind.SATIN, [(Role.UNDERLAY, under), (Role.TOP, border)]))
    fixed, changes = underlay.run(plan, context)
    assert len(changes) == 1
    assert "zigzag" in changes[0].reason
    assert len(fixed[0].points(Role.UNDERLAY)) < len(under)
    assert underlay.run(fixed, context)[1] == ()


def test_a_fill_without_underlay_gets_an_edge_run_and_crossing_rows():
    """Large fill: edge run plus fill or grid (compiled training articles); rows cross the cover
    (Images UK, Feb 2022)."""
    plan, context = sewn((Kind.FILL, [(Role.TOP, fill(40, 30))]))
    fixed, changes = underlay.run(plan, context)
    assert changes[0].cause == "missing underlay"
    assert np.array_equal(fixed[0].points(Role.TOP), plan[0].points(Role.TOP))
    under = fixed[0].points(Role.UNDERLAY)
    assert under.min(axis=0).tolist() >= [5, 5]
    assert (under.max(axis=0) <= [395, 295]).all()
    assert underlay.run(fixed, context) == (fixed, ())


def test_a_mesh_too_dense_under_a_fill_is_replaced():
    top = fill(40, 30)
    mesh = np.concatenate([fill(38, 28, 2.4, 2.5, x=1.0, y=1.0)] * 1)
    across = fill(28, 38, 2.4, 2.5)[:, ::-1] + np.array([10, 10], np.int32)
    plan, context = sewn(
        (Kind.FILL, [(Role.UNDERLAY, np.concatenate([mesh, across])), (Role.TOP, top)])
    )
    fixed, changes = underlay.run(plan, context)
    assert changes[0].cause == "unsuited underlay"
    assert changes[0].stitches_saved > 0
    assert underlay.run(fixed, context) == (fixed, ())


def test_a_few_doubtful_columns_among_many_are_left_alone():
    """One point misread turns sound into missing: two short columns of forty are no finding."""
    made = [(Kind.SATIN, sound(12, 2.0, 8.0 * i)) for i in range(40)]
    made[3], made[7] = (Kind.SATIN, bare(12, 2.0, 24.0)), (Kind.SATIN, on_zigzag(12, 2.0, 56.0))
    plan, context = sewn(*made)
    assert underlay.run(plan, context) == (plan, ())
    assert underlay_verdicts(plan, context.profile) == {}


def test_open_and_stacked_objects_are_left_alone():
    plan, context = sewn((Kind.SATIN, bare(40, 3, 0.0)), open={0: True})
    assert underlay.run(plan, context) == (plan, ())
    stacked = [(Role.TOP, column(40, 2.8), 1), (Role.TOP, column(40, 3))]
    plan, context = sewn((Kind.SATIN, stacked))
    assert underlay.run(plan, context) == (plan, ())


def test_a_vetoed_change_is_told_but_not_made():
    plan, context = sewn((Kind.FILL, [(Role.TOP, fill(40, 30))]), vetoed=["underlay-0"])
    fixed, changes = underlay.run(plan, context)
    assert same_plan(fixed, plan)
    assert changes[0].state is State.VETOED


@pytest.mark.parametrize(
    ("holes", "left"),
    [
        ([(-6, 0), (-3, 0)], 2),
        ([(-6, 0), (-3, 0), (-0.3, 0)], 2),
        # run past the first hole of the top and back: neither of the two near it stays
        ([(-3, 0), (-0.3, 0), (0.3, 0)], 1),
        ([(-6, 0), (-3, 0), (-0.3, 0), (0.3, 0)], 2),
    ],
)
def test_underlay_ends_half_a_millimetre_before_the_first_hole_of_its_top(holes, left):
    """Nearer, the stitch between them would be merged again (forms from 0.3 mm on)."""
    top = column(20, 3)
    under = units(holes) + top[0]
    (laid,) = underlay._apart([piece(under, Role.UNDERLAY)], piece(top))
    assert np.array_equal(laid.xy, under[:left])
    assert np.hypot(*(laid.xy[-1] - top[0])) >= 5


def test_the_last_hole_of_an_underlay_stays_however_near_the_top():
    top = column(20, 3)
    (laid,) = underlay._apart([piece(units([(-0.3, 0)]) + top[0], Role.UNDERLAY)], piece(top))
    assert len(laid.xy) == 1


def test_from_the_top_on_everything_stays_and_the_thread_is_not_cut_before_it():
    xy = column(20, 3)
    stretches = [
        (Role.TIE, tie_in(xy)), (Role.UNDERLAY, dense_zigzag(20, 3)), (Role.TOP, xy),
        (Role.TRAVEL, units([(19, 0), (18, 0)])), (Role.TIE, tie_off(xy)),
    ]  # fmt: skip
    plan, context = sewn((Kind.SATIN, stretches))
    tie, under, *rest = plan[0].pieces
    plan = (replace(plan[0], pieces=(tie, under, replace(rest[0], link=Link.JUMP), *rest[1:])),)
    laid = underlay.with_underlay(plan[0], context)
    assert laid is not None
    assert [p.role for p in laid.pieces] == [
        Role.TIE, Role.UNDERLAY, Role.TOP, Role.TRAVEL, Role.TIE,
    ]  # fmt: skip
    assert laid.pieces[2].link is Link.SEWN
    assert np.array_equal(laid.pieces[2].xy, xy)
    assert all(a is b for a, b in zip(laid.pieces[3:], rest[1:], strict=True))
    assert laid.marks == {"underlay", "entry"}


@pytest.mark.parametrize("corner", [(0, 0), (38, 0), (0, 28), (38, 28)])
def test_underlay_of_a_fill_begins_where_the_thread_came_in_and_leads_to_the_top(corner):
    """One hidden stitch (trade rules 2.4: 2 to 3 mm) joins what was laid and the cover."""
    top = fill(40, 30)
    old = units([corner, (corner[0] + 1, corner[1] + 1)])
    plan, context = sewn((Kind.FILL, [(Role.UNDERLAY, old), (Role.TOP, top)]))
    laid = underlay.with_underlay(plan[0], context)
    assert laid is not None
    xy = np.concatenate([p.xy for p in laid.pieces if p.role is not Role.TOP])
    assert np.hypot(*(xy[0] - old[0])) <= 25
    assert np.hypot(*(xy[-1] - top[0])) <= 30
    assert np.hypot(*np.diff(np.concatenate([xy, top[:1]]), axis=0).T).max() <= 35


@pytest.mark.parametrize("end", [0, 1])
def test_underlay_of_a_column_begins_at_the_end_where_the_thread_came_in(end):
    xy = column(20, 3)
    came = units([(19.5, 0), (18.9, 0)] if end else [(0.5, 0), (1.1, 0)])
    plan, context = sewn((Kind.SATIN, [(Role.UNDERLAY, came), (Role.TOP, xy)]))
    laid = underlay.with_underlay(plan[0], context)
    assert laid is not None
    assert np.hypot(*(laid.pieces[0].xy[0] - came[0])) <= 15


def test_the_figures_of_a_change_are_those_of_the_objects():
    plan, context = sewn(*columns(on_zigzag, (2.0, 2.6, 2.9), (30, 25, 40)))
    fixed, changes = underlay.run(plan, context)
    for was, now, change in zip(plan, fixed, changes, strict=True):
        old, new = (o.points(Role.UNDERLAY) for o in (was, now))
        assert change.before["stitches"] == len(was.points())
        assert change.after["stitches"] == len(now.points())
        assert change.before["underlay_mm"] == pytest.approx(thread(old), abs=0.06)
        assert change.after["underlay_mm"] == pytest.approx(thread(new), abs=0.06)
        assert f"{len(old)} underlay stitches become {len(new)}" in change.reason


def thread(xy):
    return float(np.hypot(*np.diff(xy, axis=0).T).sum()) / 10


@pytest.mark.parametrize(
    ("width", "fabric", "kind"),
    [
        (1.2, "twill", "a centre run"),
        (3.0, "twill", "an edge run for"),
        (4.5, "twill", "an edge run and zigzag"),
        (4.5, "fleece", "an edge run and double zigzag"),
    ],
)
def test_the_reason_names_what_the_width_asks_for(width, fabric, kind):
    """Centre run under 1.5 mm, edge run to 4 mm, zigzag on top of it above (the fabric table)."""
    plan, context = sewn((Kind.SATIN, bare(40, width, 0.0)), fabric=fabric)
    _, changes = underlay.run(plan, context)
    assert kind in changes[0].reason

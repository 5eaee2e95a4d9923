"""Fix ``underlay``: judged by shape, laid by the fabric's rule, judged again."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.check.judge_underlay import underlay_verdicts
from restitch.fabrics.model import UnderlayRule
from restitch.fix import underlay
from restitch.geometry import ladder
from restitch.model import Kind, Role, State
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

"""Fix ``lengths``: nothing too short, piled up or too long is left."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.check.judge_lengths import far_enough
from restitch.fix import lengths
from restitch.model import Kind, Role
from restitch.stitch.satin import SPLIT_PIECE_MM
from stitched import column, fill, run, same_plan, sewn, units

points = st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), min_size=1, max_size=60)


@given(points)
@settings(max_examples=80, deadline=None)
def test_no_two_kept_points_are_nearer_than_the_limit(raw):
    xy = np.array(raw, np.int32)
    kept = far_enough(xy, 0.3)
    assert kept.any()
    left = xy[kept]
    assert (left[-1] == xy[-1]).all() or np.hypot(*(left[-1] - xy[-1])) < 3
    for _ in range(4):
        left = left[far_enough(left, 0.3)]
    assert (np.hypot(*np.diff(left, axis=0).T) >= 3 - 1e-9).all()


@given(points)
@settings(max_examples=40, deadline=None)
def test_fixed_twice_is_fixed_once(raw):
    plan, context = sewn((Kind.RUN, [(Role.TOP, np.array(raw, np.int32))]))
    once, _ = lengths.run(plan, context)
    twice, changes = lengths.run(once, context)
    assert changes == ()
    assert twice is once


def test_sound_stitching_is_not_touched():
    plan, context = sewn(
        (Kind.SATIN, [(Role.TOP, column(20, 3))]),
        (Kind.FILL, [(Role.TOP, fill(y=10.0))]),
        (Kind.RUN, [(Role.TOP, run([(0, -10), (30, -10)]))]),
    )
    assert lengths.run(plan, context) == (plan, ())


def test_the_end_of_the_thread_stays_where_it_is():
    xy = units([(0, 0), (3, 0), (6, 0), (9, 0), (9.1, 0)])
    plan, context = sewn((Kind.RUN, [(Role.TOP, xy)]))
    fixed, changes = lengths.run(plan, context)
    assert (fixed[0].points()[-1] == xy[-1]).all()
    assert len(fixed[0].points()) == 4
    assert changes[0].reason == "run: 1 stitch under 0.3 mm merged"


def test_wide_satin_is_split_but_a_fringe_is_not():
    plan, context = sewn((Kind.SATIN, [(Role.TOP, column(20, 10))]))
    fixed, changes = lengths.run(plan, context)
    assert np.hypot(*np.diff(fixed[0].points(), axis=0).T).max() <= 72
    assert changes[0].cause == "long stitches"
    assert lengths.run(fixed, context)[1] == ()
    plan, context = sewn((Kind.SATIN, [(Role.TOP, column(20, 10, 1.5))]), open={0: True})
    assert lengths.run(plan, context) == (plan, ())


@given(st.floats(7.6, 30))
@settings(max_examples=20, deadline=None)
def test_long_fill_stitches_become_usual_ones(stitch):
    """Fill stitches of 3 to 5 mm are usual (Printwear, Feb 2016)."""
    plan, context = sewn((Kind.FILL, [(Role.TOP, fill(40, 10, stitch=stitch))]))
    fixed, _ = lengths.run(plan, context)
    steps = np.hypot(*np.diff(fixed[0].points(), axis=0).T) / 10
    assert steps.max() <= 7.5
    assert lengths.run(fixed, context)[1] == ()


@pytest.mark.parametrize(
    ("kind", "xy", "most_mm"),
    [
        (Kind.SATIN, column(20, 10), SPLIT_PIECE_MM),
        (Kind.FILL, fill(9, 10, stitch=50.0), lengths.FILL_PIECE_MM),
        (Kind.RUN, units([(0, 0), (25, 0), (25, 25)]), lengths.RUN_PIECE_MM),
    ],
)
def test_what_is_split_comes_in_pieces_of_its_kind(kind, xy, most_mm):
    plan, context = sewn((kind, [(Role.TOP, xy)]))
    fixed, _ = lengths.run(plan, context)
    steps = np.hypot(*np.diff(fixed[0].points(), axis=0).T) / 10
    over = steps.max()
    # in equal pieces: no smaller than half the wanted size either
    assert most_mm / 2 < over <= most_mm + 0.15


def test_the_reason_names_the_limit_of_the_kind():
    plan, context = sewn((Kind.SATIN, [(Role.TOP, column(20, 10))]))
    _, changes = lengths.run(plan, context)
    limit = context.profile.limits.satin_split_over_mm
    assert f"over {limit:.1f} mm split" in changes[0].reason


def test_a_pile_up_is_spread_but_a_bean_run_is_not():
    body = column(20, 3)
    hole = body[20]
    piled = np.concatenate(
        [body[:20], *([hole, hole + np.array([6, 0])] for _ in range(7)), body[20:]]
    )
    plan, context = sewn((Kind.SATIN, [(Role.TOP, piled.astype(np.int32))]))
    fixed, changes = lengths.run(plan, context)
    _, counts = np.unique(fixed[0].points(), axis=0, return_counts=True)
    assert counts.max() <= 4
    assert changes[0].cause == "needle pile-up"
    line = run([(0, 0), (30, 0)])
    bean = np.concatenate([[a, b, a, b, a] for a, b in pairwise(line)])
    keep = np.concatenate([[True], (np.diff(bean, axis=0) != 0).any(axis=1)])
    plan, context = sewn((Kind.RUN, [(Role.TOP, bean[keep])]))
    assert lengths.run(plan, context) == (plan, ())


def test_a_vetoed_change_leaves_the_stitches():
    plan, context = sewn((Kind.SATIN, [(Role.TOP, column(20, 10))]), vetoed=["lengths-0"])
    fixed, changes = lengths.run(plan, context)
    assert same_plan(fixed, plan)
    assert len(changes) == 1


@pytest.mark.parametrize("count", [1, 2, 3])
def test_the_smallest_objects_survive(count):
    xy = np.zeros((count, 2), np.int32)
    plan, context = sewn((Kind.RUN, [(Role.TOP, xy)]))
    fixed, _ = lengths.run(plan, context)
    assert len(fixed[0].points()) >= 1

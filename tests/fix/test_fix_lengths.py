"""Fix ``lengths``: nothing too short, piled up or too long is left."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.check.judge_lengths import (
    beyond_limits,
    far_enough,
    kept_points,
    longest_mm,
    sewn_mm,
)
from restitch.fabrics.model import Limits
from restitch.fix import lengths
from restitch.model import Kind, Link, Role
from restitch.stitch.satin import SPLIT_PIECE_MM
from stitched import column, fill, piece, planned, run, same_plan, sewn, units

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


@pytest.mark.parametrize("kind", [Kind.SATIN, Kind.FILL])
def test_under_the_cover_what_is_too_long_for_the_machine_is_cut_like_a_run(kind):
    """A needle cannot pull 12.1 mm at once (the formats' limit); a run's stitch is 6 or less."""
    under = units([(1, 0), (14, 0), (19, 0)])
    top = column(20, 3) if kind is Kind.SATIN else fill(20, 10)
    plan, context = sewn((kind, [(Role.UNDERLAY, under), (Role.TOP, top)]))
    fixed, changes = lengths.run(plan, context)
    steps = np.hypot(*np.diff(fixed[0].points(Role.UNDERLAY), axis=0).T) / 10
    assert len(steps) == 4
    assert steps[:3].max() <= lengths.RUN_PIECE_MM
    assert steps[-1] == 5
    assert np.array_equal(fixed[0].points(Role.TOP), top)
    assert changes[0].before == {"stitches": len(top) + 3, "short": 0, "piled": 0, "long": 1}
    assert changes[0].after == {"stitches": len(top) + 5, "short": 0, "piled": 0, "long": 0}


@given(
    st.lists(
        st.tuples(
            st.sampled_from([Link.SEWN, Link.JUMP, Link.TRIM]),
            st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=1, max_size=8),
        ),
        min_size=1,
        max_size=6,
    )
)
@settings(max_examples=60, deadline=None)
def test_no_cut_is_lost_or_made_where_stretches_merge_away(stretches):
    """Sewn on, the thread would lie across where it was cut."""
    plan, context = sewn((Kind.RUN, [(Role.TOP, np.array(xy, np.int32)) for _, xy in stretches]))
    pieces = tuple(
        replace(p, link=link) for p, (link, _) in zip(plan[0].pieces, stretches, strict=True)
    )
    fixed, _ = lengths.run((replace(plan[0], pieces=pieces),), context)
    was, now = (
        [(p.link, p.xy[0].tolist()) for p in o if p.link is not Link.SEWN]
        for o in (pieces, fixed[0].pieces)
    )
    assert was == now


def test_the_worst_cause_gives_the_change_its_name():
    xy = np.concatenate([column(20, 10), units([(20.1, 5.0), (20.2, 5.0)])])
    plan, context = sewn((Kind.SATIN, [(Role.TOP, xy)]))
    _, changes = lengths.run(plan, context)
    assert changes[0].cause == "long stitches"
    assert "under 0.3 mm merged" in changes[0].reason
    assert changes[0].after["stitches"] > changes[0].before["stitches"]


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


@given(st.lists(points, min_size=1, max_size=6), st.lists(st.sampled_from(list(Link)), min_size=6))
@settings(max_examples=60, deadline=None)
def test_only_sound_objects_are_passed_over(raw, links):
    limits = Limits()
    kinds = list(Kind)
    plan = [
        replace(
            planned(
                kinds[i % 3],
                *(
                    piece(np.array(xy, np.int32) * (1 + 3 * (k % 2)), link=links[k])
                    for k, xy in enumerate(raw[i:])
                ),
            ),
            id=i,
        )
        for i in range(len(raw))
    ]
    left = {o.id for o in beyond_limits(plan, limits)}
    for obj in plan:
        faulty = not all(mask.all() for mask in kept_points(obj, limits))
        faulty |= any((sewn_mm(p.xy) > longest_mm(obj, p, limits)).any() for p in obj.pieces)
        assert obj.id in left or not faulty
    sound = planned(Kind.RUN, piece(units([(0.0, 0.0), (2.0, 0.0), (4.0, 0.0)])))
    assert beyond_limits([sound], limits) == []

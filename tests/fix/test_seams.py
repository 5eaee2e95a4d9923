"""Seams: the last pass over a finished stream."""

from dataclasses import replace

import numpy as np
import pytest

from restitch.fabrics.model import Limits
from restitch.fix.seams import seams
from restitch.model import Kind, Link, Role
from restitch.plan import emit
from restitch.stitch.ties import tie_in, tie_off
from stitched import column, piece, run, sewn, units

LIMITS = Limits()


def sewn_on(obj):
    return replace(obj, pieces=(replace(obj.pieces[0], link=Link.SEWN), *obj.pieces[1:]))


def test_a_seam_leaves_no_stitch_too_short():
    first, second = run([(0, 0), (20, 0)]), run([(20.1, 0), (40, 0)])
    plan, context = sewn((Kind.RUN, [(Role.TOP, first)]), (Kind.RUN, [(Role.TOP, second)]))
    emission = emit((plan[0], sewn_on(plan[1])), context.source)
    tidy = seams(emission, LIMITS, context.source)
    assert len(tidy.stream) == len(emission.stream) - 1
    assert len(tidy.owner) == len(tidy.stream)
    assert seams(tidy, LIMITS, context.source) is tidy


def test_short_stitches_of_the_source_are_not_its_business():
    """They belong to the fix that tells of them."""
    plan, context = sewn((Kind.RUN, [(Role.TOP, units([(0, 0), (5, 0), (5.1, 0), (9, 0)]))]))
    emission = emit(plan, context.source)
    assert seams(emission, LIMITS, context.source) is emission
    assert len(seams(emission, LIMITS).stream) == len(emission.stream) - 1


def test_a_new_tie_steps_out_of_a_crowded_hole():
    ring = run([(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)])
    line = np.concatenate([ring, ring[1:]])
    _, context = sewn((Kind.RUN, [(Role.TOP, line)]))
    tied, _ = sewn(
        (Kind.RUN, [(Role.TIE, tie_in(line)), (Role.TOP, line), (Role.TIE, tie_off(line))])
    )
    emission = emit(tied, context.source)
    tidy = seams(emission, LIMITS, context.source)
    _, counts = np.unique(tidy.stream.xy[tidy.stream.stitch_index], axis=0, return_counts=True)
    assert counts.max() <= LIMITS.pile_up
    assert np.abs(tidy.stream.xy - emission.stream.xy).max() <= 3
    assert seams(tidy, LIMITS, context.source) is tidy


def star(count, angle_deg=0):
    """A line that begins in one hole and comes back to it, ``count`` visits in all."""
    out = [np.radians(angle_deg + 50 * k) for k in range(count)]
    rays = [(20 + 4 * np.cos(a), 20 + 4 * np.sin(a)) for a in out]
    return units([p for ray in rays for p in ((20, 20), ray)])


@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize("angle_deg", [0, 30, 90, 200])
def test_a_thread_end_steps_three_tenths_aside_across_its_own_stitch(backwards, angle_deg):
    """Aside, no stitch gets too short to form; only the end steps, the rest stays."""
    line = star(LIMITS.pile_up + 1, angle_deg)
    line = line[::-1] if backwards else line
    plan, context = sewn((Kind.RUN, [(Role.TOP, run([(0, 0), (10, 0)]))]))
    emission = emit((replace(plan[0], pieces=(piece(line),)),), context.source)
    tidy = seams(emission, LIMITS, context.source)
    was, now = (e.stream.xy[e.stream.stitch_index].astype(float) for e in (emission, tidy))
    end, inward = (-1, -2) if backwards else (0, 1)
    (moved,) = np.flatnonzero((was != now).any(axis=1))
    assert moved == (len(was) - 1 if backwards else 0)
    step, stitch = now[end] - was[end], was[inward] - was[end]
    assert np.hypot(*step) == pytest.approx(3, abs=0.8)
    assert abs(step @ stitch) / np.hypot(*stitch) < 0.8


def test_a_thread_end_steps_to_the_other_side_where_one_is_taken():
    line = star(LIMITS.pile_up + 1)
    steps = []
    for taken in ([], [(20, 20.3)], [(20, 19.7)], [(20, 20.3), (20, 19.7)]):
        # a hole that is sewn into twice is taken
        again = [p for hole in taken for p in (hole, (30, 30), hole, (10, 30))]
        xy = np.concatenate([line, units(again)]) if again else line
        plan, context = sewn((Kind.RUN, [(Role.TOP, run([(0, 0), (10, 0)]))]))
        emission = emit((replace(plan[0], pieces=(piece(xy),)),), context.source)
        tidy = seams(emission, LIMITS, context.source)
        first = emission.stream.stitch_index[0]
        steps.append((tidy.stream.xy[first] - emission.stream.xy[first]).tolist())
    free, one, other, none = steps
    assert {tuple(one), tuple(other)} == {(0, -3), (0, 3)}
    assert free in (one, other)
    assert none == [0, 0]


def test_a_hole_visited_no_more_than_the_limit_is_left():
    plan, context = sewn((Kind.RUN, [(Role.TOP, run([(0, 0), (10, 0)]))]))
    emission = emit((replace(plan[0], pieces=(piece(star(LIMITS.pile_up)),)),), context.source)
    assert seams(emission, LIMITS, context.source) is emission


def test_holes_left_and_above_the_origin_are_counted_too():
    line = star(LIMITS.pile_up + 1) - np.array([400, 400], np.int32)
    plan, context = sewn((Kind.RUN, [(Role.TOP, run([(0, 0), (10, 0)]))]))
    emission = emit((replace(plan[0], pieces=(piece(line),)),), context.source)
    tidy = seams(emission, LIMITS, context.source)
    assert (tidy.stream.xy != emission.stream.xy).any(axis=1).sum() == 1


def test_a_hole_that_was_as_crowded_in_the_source_is_left():
    line = star(LIMITS.pile_up + 2)
    plan, context = sewn((Kind.RUN, [(Role.TOP, line)]))
    emission = emit(plan, context.source)
    assert seams(emission, LIMITS, context.source) is emission
    assert seams(emission, LIMITS) is not emission


def test_sound_stitching_comes_back_as_it_is():
    plan, context = sewn((Kind.SATIN, [(Role.TOP, column(20, 3))]))
    emission = emit(plan, context.source)
    assert seams(emission, LIMITS, context.source) is emission

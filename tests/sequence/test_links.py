"""Links and ties: what is hidden, what is jumped, what is cut, what is locked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.fabrics import default_profile
from restitch.model import Kind, Link, Role
from restitch.sequence.cover import NOTHING, cover_of
from restitch.sequence.links import Linker, Way, link_rules
from restitch.sequence.ties import cut, locked, share_locked, tied
from stitched import column, run, sewn, units


@pytest.fixture(scope="module")
def linker():
    """A 20 x 10 mm patch sewn second, and a bar over it with a hole, sewn third."""
    import shapely

    patch = shapely.box(0, 0, 20, 10)
    frame = shapely.box(30, 0, 60, 30).difference(shapely.box(40, 10, 50, 20))
    cover = cover_of([shapely.box(0, 20, 5, 25), patch, frame], [True, True, True])
    rules = link_rules(default_profile("twill"), "dst")
    return Linker(rules, cover, cover.last([0, 1, 2]))


def way(linker, a, b, place=1, same=True):
    """The way from a to b, which is reached at that place of the order."""
    spots = [np.array([s], float) for s in ((900, 900),) * (place - 1) + (a,)]
    ends = [np.array([s], float) for s in ((950, 950),) * (place - 1) + (b,)]
    found = linker.chain(spots, ends, [False] * (place - 1) + [same])[-1]
    return Way(int(found.way[0, 0]))


def test_ways_of_a_link(linker) -> None:
    assert way(linker, (2, 5), (2.8, 5)) is Way.SEWN
    assert way(linker, (2, 5), (9, 5)) is Way.HIDDEN
    # on bare cloth, short and long (trim from 5 mm: lower end of the published 5 to 8 mm)
    assert way(linker, (-9, -5), (-5.5, -5)) is Way.JUMP
    assert way(linker, (-9, -5), (-3, -5)) is Way.TRIM
    # nothing is sewn across a change of thread
    assert way(linker, (2, 5), (2.5, 5), same=False) is Way.TRIM


def test_a_way_never_crosses_a_hole_or_leaves_its_cover(linker) -> None:
    assert way(linker, (32, 5), (38, 5), place=2) is Way.HIDDEN
    assert way(linker, (39, 15), (46, 15), place=2) is Way.TRIM
    assert way(linker, (18, 5), (23, 5)) is Way.JUMP


@pytest.mark.parametrize(("inside", "edge"), [((13, 5), (19.9, 5)), ((7, 5), (0.1, 5))])
def test_a_hidden_way_may_begin_and_end_on_the_edge_of_its_cover(linker, inside, edge) -> None:
    """Ends of columns and fills lie on the edge, where the cover is not sure of itself."""
    assert way(linker, inside, edge) is Way.HIDDEN
    assert way(linker, edge, inside) is Way.HIDDEN


def test_a_short_way_needs_cover_in_its_middle_too(linker) -> None:
    # 1.8 mm across the counter of a letter: its two ends are free, what is between is bare
    assert way(linker, (44.1, 15), (45.9, 15), place=2) is Way.JUMP


def test_an_earlier_cover_hides_nothing(linker) -> None:
    assert way(linker, (2, 5), (9, 5), place=2) is Way.TRIM


def test_formats_that_cut_at_every_jump() -> None:
    profile = default_profile("twill")
    for fmt, limit in (("pes", 1.0), ("pec", 1.0), ("vp3", 1.0), ("dst", 5.0), ("jef", 5.0)):
        assert link_rules(profile, fmt).trim_over_mm == limit


@settings(max_examples=30, deadline=None)
@given(
    st.tuples(st.floats(0, 20), st.floats(0, 20), st.floats(3, 10), st.floats(3, 10)),
    st.tuples(st.floats(0, 35), st.floats(0, 35)),
)
def test_the_grid_is_inside_the_shape(box, spot) -> None:
    import shapely

    x, y, w, h = box
    shape = shapely.box(x, y, x + w, y + h)
    cover = cover_of([shape], [True])
    last = cover.last([0])
    found = last[cover.cells_of(np.array(spot))] != NOTHING
    margin = shape.exterior.distance(shapely.Point(spot))
    if found:
        assert shape.contains(shapely.Point(spot))
    elif shape.contains(shapely.Point(spot)):
        assert margin < 0.4 + 0.3


def two_runs(gap_mm):
    """Two untied lines, a trim and a jump between them."""
    return sewn(
        (Kind.RUN, [(Role.TOP, run([(0, 0), (20, 0)]))]),
        (Kind.RUN, [(Role.TOP, run([(20 + gap_mm, 0), (40 + gap_mm, 0)]))]),
    )[0]


def test_ties_are_added_at_loose_ends_only() -> None:
    plan = two_runs(10)
    assert share_locked(plan) == 0.0
    done, count = tied(plan, frozenset(), everywhere=False)
    assert count == 4
    assert share_locked(done) == 1.0
    again, more = tied(done, frozenset(), everywhere=False)
    assert more == 0
    assert again is done
    # the ends stay where they were: a tie lengthens no jump
    assert np.array_equal(done[0].pieces[-1].xy[-1], plan[0].pieces[-1].xy[-1])
    assert np.array_equal(done[1].pieces[0].xy[0], plan[1].pieces[0].xy[0])
    steps = np.hypot(*np.diff(np.concatenate([p.xy for p in done[0].pieces]), axis=0).T)
    assert steps.min() >= 3


@given(st.floats(1.2, 30))
def test_long_jumps_are_cut(gap_mm) -> None:
    plan = two_runs(gap_mm)
    jump = replace(plan[1].pieces[0], link=Link.JUMP)
    plan = (plan[0], replace(plan[1], pieces=(jump,)))
    gap = (plan[1].pieces[0].xy[0] - plan[0].pieces[-1].xy[-1])[0] / 10
    done, count = cut(plan, 5.0)
    assert count == (gap > 5.0)
    assert done[1].pieces[0].link is (Link.TRIM if gap > 5.0 else Link.JUMP)


def test_old_short_jumps_are_tied_only_when_asked() -> None:
    plan = two_runs(3)
    plan = (plan[0], replace(plan[1], pieces=(replace(plan[1].pieces[0], link=Link.JUMP),)))
    assert tied(plan, frozenset(), everywhere=False)[1] == 2
    assert tied(plan, frozenset({1}), everywhere=False)[1] == 4
    assert tied(plan, frozenset(), everywhere=True)[1] == 4


def test_a_satin_of_short_strokes_needs_no_lock_of_its_own() -> None:
    narrow = column(10, 0.8)
    assert locked(narrow)
    assert not locked(column(10, 3.0))


def test_a_way_bends_round_a_counter_under_the_cover(linker) -> None:
    import shapely

    from restitch.sequence.bends import bent_ways

    frame = shapely.box(30, 0, 60, 30).difference(shapely.box(43, 10, 47, 20))
    cover = cover_of([shapely.box(0, 20, 5, 25), shapely.Polygon(), frame], [True, True, True])
    bending = Linker(linker.rules, cover, cover.last([0, 1, 2]))
    begin, end = np.array([42.0, 12.0]), np.array([48.0, 12.0])
    assert way(bending, tuple(begin), tuple(end), place=2) is Way.TRIM
    (path,) = bent_ways(bending, begin[None], end[None], np.array([2]))
    assert path is not None
    assert np.array_equal(path[[0, -1]], [begin, end])
    line = shapely.LineString(path)
    assert 6.5 < line.length < 10.0
    # inside the frame by the margin, but for the first and last millimetre
    middle = line.difference(shapely.MultiPoint([begin, end]).buffer(1.0))
    assert frame.buffer(-0.2).covers(middle)


def test_no_way_bends_over_bare_cloth(linker) -> None:
    from restitch.sequence.bends import bent_ways

    begin, end = np.array([[41.0, 15.0], [-5.0, 5.0]]), np.array([[47.0, 15.0], [1.0, 5.0]])
    assert bent_ways(linker, begin, end, np.array([2, 2])) == [None, None]


def jumped(plan, link=Link.JUMP, **fields):
    """The plan with its second object reached by a link, and other fields of it."""
    first = replace(plan[1].pieces[0], link=link)
    return (plan[0], replace(plan[1], pieces=(first, *plan[1].pieces[1:]), **fields))


def test_at_a_change_of_thread_no_trim_is_added() -> None:
    """The machine cuts there by itself."""
    done, count = cut(jumped(two_runs(10), thread=1), 5.0)
    assert count == 0
    assert done[1].pieces[0].link is Link.JUMP


@pytest.mark.parametrize("link", [Link.SEWN, Link.TRIM, Link.STOP])
def test_only_jumps_are_cut(link) -> None:
    plan = jumped(two_runs(10), link)
    done, count = cut(plan, 5.0)
    assert count == 0
    assert done is plan


def test_jumps_inside_an_object_are_cut_too() -> None:
    (a, b) = two_runs(10)
    one = (replace(a, pieces=(*a.pieces, replace(b.pieces[0], link=Link.JUMP))),)
    done, count = cut(one, 5.0)
    assert count == 1
    assert [p.link for p in done[0].pieces] == [a.pieces[0].link, Link.TRIM]
    # and tied on both sides of the cut
    locked_, ties = tied(done, frozenset(), everywhere=False)
    assert ties == 4
    assert [p.role for p in locked_[0].pieces] == [Role.TIE, Role.TOP, Role.TIE] * 2
    assert locked_[0].pieces[3].link is Link.TRIM
    assert [p.link for p in locked_[0].pieces[4:]] == [Link.SEWN, Link.SEWN]


def test_the_way_of_a_jump_is_measured_from_the_stitch_before_it() -> None:
    plan = jumped(two_runs(4.9))
    assert cut(plan, 5.0)[1] == 0
    assert cut(plan, 4.8)[1] == 1
    # the first object is reached by a jump from nowhere: nothing to cut
    first = replace(plan[0].pieces[0], link=Link.JUMP)
    assert cut((replace(plan[0], pieces=(first,)), plan[1]), 4.8)[1] == 1


def test_a_change_of_thread_is_tied_on_both_sides() -> None:
    plan = jumped(two_runs(3), thread=1)
    assert tied(plan, frozenset(), everywhere=False)[1] == 4
    assert share_locked(plan) == 0.0


def test_only_loose_ends_lower_the_share_that_is_locked() -> None:
    plan = two_runs(10)
    both = tied(plan, frozenset(), everywhere=False)[0]
    assert share_locked((both[0], plan[1])) == 0.5
    begun = replace(plan[1], pieces=both[1].pieces[:2])
    assert share_locked((both[0], begun)) == 0.75
    # at a short jump no lock is asked for: two ends are left, at the begin and the end of all
    assert share_locked(jumped(two_runs(3))) == 0.0
    assert share_locked((replace(both[0], pieces=both[0].pieces[:2]), jumped(both)[1])) == 1.0


def test_an_end_is_looked_at_over_the_pieces_next_to_it() -> None:
    # the locking stitches lie in a piece of their own, the one after begins with a long stitch
    line = run([(0, 0), (20, 0)])
    tie = units([(0, 0), (0.8, 0), (0, 0.2)])
    plan, _ = sewn((Kind.RUN, [(Role.TIE, tie), (Role.TOP, line)]))
    done, count = tied(plan, frozenset(), everywhere=False)
    assert count == 1
    assert [p.role for p in done[0].pieces] == [Role.TIE, Role.TOP, Role.TIE]


@pytest.mark.parametrize(
    ("short", "held"), [([0.8, 0.8, 0.8, 3.0], True), ([0.8, 0.8, 3.0, 3.0], False)]
)
def test_three_short_stitches_next_to_an_end_hold_it(short, held) -> None:
    """Three locking stitches: common practice."""
    line = units(np.stack([np.cumsum([0.0, *short, 3.0]), np.zeros(6)], axis=1))
    assert locked(line) is held


def test_a_way_over_its_own_colour_is_hidden_for_a_little_only() -> None:
    import shapely

    shapes = [shapely.box(0, 0, 40, 10), shapely.box(0, 20, 40, 30)]
    cover = cover_of(shapes, [True, True])
    over = Linker(link_rules(default_profile("twill"), "dst"), cover, cover.last([0, 1]))
    # the object just sewn, at place 0, is crossed on the way to place 1
    assert way(over, (5, 5), (7.5, 5)) is Way.HIDDEN
    assert way(over, (5, 5), (12, 5)) is Way.TRIM


def test_links_of_a_design_are_those_of_each_pair(linker) -> None:
    spots_ = [np.array([[2.0, 5.0], [39.0, 15.0]]), np.array([[9.0, 5.0]])]
    ends = [np.array([[9.0, 5.0], [46.0, 15.0], [2.5, 5.0]]), np.array([[9.5, 5.0]])]
    found = linker.chain(spots_, ends, [True, False])
    assert found[0].way.shape == (2, 3)
    assert found[0].length_mm[0, 0] == pytest.approx(7.0)
    assert Way(int(found[0].way[0, 0])) is Way.HIDDEN
    assert Way(int(found[0].way[0, 2])) is Way.SEWN
    assert Way(int(found[0].way[1, 1])) is Way.TRIM
    assert found[0].price[0, 0] == pytest.approx(0.6 * 7.0 + 1.0)
    assert found[0].price[0, 2] == pytest.approx(0.3 * 0.5)
    # 7 mm of jump, the stop of the needle, the trim
    trim = linker.rules.trim
    assert found[0].price[1, 1] == pytest.approx(7.0 + 4.0 + trim)
    # a change of thread costs its length
    assert found[1].price[0, 0] == pytest.approx(0.5)
    assert Way(int(found[1].way[0, 0])) is Way.TRIM


def test_each_end_is_tied_by_the_jump_or_cut_next_to_it() -> None:
    lines = [run([(x, 0), (x + 20, 0)]) for x in (0.0, 30.0, 53.0)]
    plan, _ = sewn(*[(Kind.RUN, [(Role.TOP, line)]) for line in lines])
    short = replace(plan[2].pieces[0], link=Link.JUMP)
    plan = (*plan[:2], replace(plan[2], pieces=(short,)))
    done, count = tied(plan, frozenset(), everywhere=False)
    assert count == 4
    tie, top = Role.TIE, Role.TOP
    assert [[p.role for p in o.pieces] for o in done] == [[tie, top, tie], [tie, top], [top, tie]]


def test_only_the_new_jump_is_tied_not_the_old_ones_inside_the_object() -> None:
    a, b = two_runs(3)
    inner = run([(46, 0), (60, 0)])
    first = replace(b.pieces[0], link=Link.JUMP)
    again = replace(b.pieces[0], xy=inner, link=Link.JUMP)
    plan = (a, replace(b, pieces=(first, again)))
    done, count = tied(plan, frozenset({1}), everywhere=False)
    assert count == 4
    tie, top = Role.TIE, Role.TOP
    assert [[p.role for p in o.pieces] for o in done] == [[tie, top, tie], [tie, top, top, tie]]


def test_a_change_of_thread_is_a_cut_however_it_is_written() -> None:
    """Some files go on sewing across it."""
    plan = jumped(two_runs(3), Link.SEWN, thread=1)
    done, count = tied(plan, frozenset(), everywhere=False)
    assert count == 4
    assert [p.role for p in done[0].pieces] == [Role.TIE, Role.TOP, Role.TIE]


@pytest.mark.parametrize(("far_mm", "found"), [(7.9, Way.HIDDEN), (8.1, Way.TRIM)])
def test_a_hidden_way_is_no_longer_than_it_may_be(linker, far_mm, found) -> None:
    assert way(linker, (2, 5), (2 + far_mm, 5)) is found

"""Ways to sew one object: nothing visible is lost, the ends are where they are said to be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from restitch.geometry import outline
from restitch.model import Kind, Role
from restitch.sequence.body import bodies
from restitch.sequence.options import options_of
from stitched import column, fill, run, sewn, units

EDGE = units([(0.6, 0.5), (10, 0.5), (19.4, 0.5), (19.4, -0.5), (10, -0.5), (0.6, -0.5)])
CENTRE = units([(0.6, 0), (2.8, 0), (5, 0), (7.2, 0), (9.4, 0), (12, 0), (15, 0), (19.4, 0)])[::-1]


def ring(radius=8.0, width=2.0, spacing=0.4):
    count = round(2 * 2 * np.pi * radius / spacing)
    at = np.linspace(0, 2 * np.pi, count + 1)
    reach = radius + np.where(np.arange(count + 1) % 2 == 0, -width / 2, width / 2)
    return units(np.stack([np.cos(at), np.sin(at)], axis=1) * reach[:, None])


def ways(kind, *stretches):
    plan, context = sewn((kind, stretches))
    (body,) = bodies(plan, context)
    return body, options_of(body, outline(plan[0]))


CASES = [
    (Kind.SATIN, [(Role.UNDERLAY, CENTRE), (Role.TOP, column())]),
    (Kind.SATIN, [(Role.UNDERLAY, EDGE), (Role.TOP, column())]),
    (Kind.SATIN, [(Role.TOP, column())]),
    (Kind.SATIN, [(Role.TOP, ring())]),
    (Kind.FILL, [(Role.TOP, fill())]),
    (Kind.RUN, [(Role.TOP, run([(0, 0), (20, 0), (20, 8)]))]),
    (Kind.RUN, [(Role.TOP, run([(0, 0), (20, 0), (20, 8), (0, 8), (0, 0)]))]),
]


def steps(xy):
    """The stitches of a line, whichever way they are sewn."""
    a, b = xy[:-1], xy[1:]
    swap = (a[:, 0] > b[:, 0]) | ((a[:, 0] == b[:, 0]) & (a[:, 1] > b[:, 1]))
    both = np.where(swap[:, None], np.hstack([b, a]), np.hstack([a, b]))
    return np.unique(both[(a != b).any(axis=1)], axis=0)


@pytest.mark.parametrize(("kind", "stretches"), CASES)
def test_every_way_sews_every_visible_stitch(kind, stretches) -> None:
    found = ways(kind, *stretches)[1]
    whole = {tuple(s) for s in steps(stretches[-1][1]).tolist()}
    assert len(found) > 1
    for option in found:
        tops = [p.xy for p in option.pieces if p.role is Role.TOP]
        assert whole <= {tuple(s) for xy in tops for s in steps(xy).tolist()}


@pytest.mark.parametrize(("kind", "stretches"), CASES)
def test_no_way_has_a_long_or_visible_step(kind, stretches) -> None:
    _, found = ways(kind, *stretches)
    longest = max(np.hypot(*np.diff(xy, axis=0).T).max() for _, xy in stretches)
    for option in found:
        xy = np.concatenate([p.xy for p in option.pieces])
        assert np.hypot(*np.diff(xy, axis=0).T).max() <= max(longest, 25) + 1


@pytest.mark.parametrize(("kind", "stretches"), CASES)
def test_no_way_sews_twice_into_one_hole_in_a_row(kind, stretches) -> None:
    for option in ways(kind, *stretches)[1]:
        xy = np.concatenate([p.xy for p in option.pieces])
        assert np.hypot(*np.diff(xy, axis=0).T).min() > 0


@pytest.mark.parametrize(("kind", "stretches"), CASES)
def test_an_end_is_as_found_only_where_it_was_found(kind, stretches) -> None:
    """Ties and travel as found stand there: elsewhere they would lie bare."""
    body, found = ways(kind, *stretches)
    for option in found:
        assert not option.entry_found or np.array_equal(option.entry, body.entry)
        assert not option.exit_found or np.array_equal(option.exit, body.exit)
        moved = not np.array_equal(option.entry, body.entry)
        assert not (moved and option.entry_found)
        whole = np.concatenate([p.xy for p in option.pieces])
        assert np.array_equal(whole[0], option.entry)
        assert np.array_equal(whole[-1], option.exit)


def test_underlay_with_travel_inside_is_sewn_in_the_sense_it_was() -> None:
    """Travel between two stretches of underlay is covered by the later one."""
    first, second = CENTRE[:3], CENTRE[5:]
    stretches = (Role.UNDERLAY, first), (Role.TRAVEL, CENTRE[3:5]), (Role.UNDERLAY, second)
    _, found = ways(Kind.SATIN, *stretches, (Role.TOP, column()))
    assert len(found) > 1
    for option in found:
        travel = [p.xy for p in option.pieces if p.role is Role.TRAVEL]
        assert any(np.array_equal(xy, CENTRE[3:5]) for xy in travel)


def test_the_first_way_is_the_one_found() -> None:
    for kind, stretches in CASES:
        body, found = ways(kind, *stretches)
        assert found[0].pieces == body.core
        assert found[0].cost_mm == 0.0
        assert found[0].entry_found
        assert found[0].exit_found


def test_a_column_offers_all_four_pairs_of_ends() -> None:
    _, found = ways(*CASES[1][:1], *CASES[1][1])
    ends = {(bool(o.entry[0] > 100), bool(o.exit[0] > 100)) for o in found}
    assert ends == {(False, False), (False, True), (True, False), (True, True)}
    # out along the edge and back by the cover costs next to nothing
    straight = min(o.cost_mm for o in found if o.entry[0] > 100 > o.exit[0])
    assert straight < 2.0


def test_a_ring_may_begin_anywhere() -> None:
    _, found = ways(Kind.SATIN, (Role.TOP, ring()))
    angle = sorted(np.degrees(np.arctan2(*o.entry[::-1])) % 360 for o in found)
    assert np.diff([*angle, angle[0] + 360]).max() < 75


def test_a_fill_is_entered_round_its_edge_under_its_own_cover() -> None:
    _, found = ways(Kind.FILL, (Role.TOP, fill(20, 10)))
    entries = np.array([o.entry for o in found])
    assert np.ptp(entries[:, 0]) > 150
    assert np.ptp(entries[:, 1]) > 70
    travel = np.concatenate([p.xy for o in found for p in o.pieces if p.role is Role.TRAVEL])
    assert travel[:, 0].min() >= 4
    assert travel[:, 0].max() <= 196


def test_travel_inside_a_top_is_never_turned() -> None:
    low, high = fill(10, 4), fill(10, 4, y=8)
    travel = (Role.TRAVEL, units([(0.6, 6)]))
    found = ways(Kind.FILL, (Role.TOP, low), travel, (Role.TOP, high))[1]
    assert all(np.array_equal(o.pieces[-1].xy, high) for o in found)


def test_underlay_that_ends_far_off_is_joined_under_the_cover() -> None:
    plan, context = sewn((Kind.SATIN, [(Role.UNDERLAY, CENTRE[::-1]), (Role.TOP, column())]))
    plan = (replace(plan[0], marks=frozenset({"stack"})),)
    (body,) = bodies(plan, context)
    for option in options_of(body, outline(plan[0])):
        xy = np.concatenate([p.xy for p in option.pieces])
        assert np.hypot(*np.diff(xy, axis=0).T).max() <= 45


@pytest.mark.parametrize(("short_mm", "turns"), [(0.5, True), (2.0, True), (3.0, False)])
def test_too_narrow_for_a_way_inside_one_hidden_stitch_joins_underlay_and_top(
    short_mm, turns
) -> None:
    """Underlay stitches of 2 to 3 mm stay hidden (trade rules 2.4): the limit is 2.5."""
    top = fill(1.0, 12)
    along = np.linspace(12 - short_mm, short_mm, 6)
    under = units(np.stack([np.full(6, 0.5), along], axis=1))
    body, found = ways(Kind.FILL, (Role.UNDERLAY, under), (Role.TOP, top))
    assert found[0].pieces == body.core
    # sewn from the other end, or as found only
    assert [o.entry[1] > 60 for o in found] == ([True, False] if turns else [True])

"""From a route back to a plan: ties and travel as found, or as the new neighbours need them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented import sewn as stream_of

from restitch.geometry import outline
from restitch.measure import measure
from restitch.model import Kind, Link, Role
from restitch.sequence import order
from restitch.sequence.links import Way
from restitch.sequence.ordering import _router
from restitch.sequence.settings import ORDER
from restitch.sequence.sewing import sewn as laid
from restitch.stitch.ties import tie_in, tie_off
from stitched import column, fill, run, same_plan, sewn, units


def tied(xy):
    return (Kind.SATIN, [(Role.TIE, tie_in(xy)), (Role.TOP, xy), (Role.TIE, tie_off(xy))])


def three_tied():
    """Columns in a row, 6 mm apart, every end tied."""
    return sewn(*[tied(column(10, 2, x=16.0 * i)) for i in range(3)])


def router_of(plan, context):
    return _router(plan, [outline(o) for o in plan], context, ORDER)


def roles(obj):
    return [p.role for p in obj.pieces]


def test_a_route_as_found_gives_the_plan_as_it_was() -> None:
    plan, context = three_tied()
    router = router_of(plan, context)
    found = laid(router.as_found((0, 1, 2)), router)
    assert same_plan(found[1:], plan[1:])
    assert [p.xy.tolist() for p in found[0].pieces] == [p.xy.tolist() for p in plan[0].pieces]


def test_ends_that_stay_keep_their_ties_in_another_order() -> None:
    plan, context = three_tied()
    router = router_of(plan, context)
    found = laid(router.as_found((2, 0, 1)), router)
    assert [o.id for o in found] == [2, 0, 1]
    assert all(roles(o) == [Role.TIE, Role.TOP, Role.TIE] for o in found)
    assert all(np.array_equal(o.points(), plan[o.id].points()) for o in found)
    # the machine moves to its first stitch, and cuts before the next far object
    assert [o.pieces[0].link for o in found] == [Link.JUMP, Link.TRIM, Link.TRIM]


def led_to_the_next():
    """A column whose thread runs on under the next one, a third apart; the second is sewn on."""
    a, b, c = column(10, 2), column(10, 2, x=18.0), column(10, 2, y=30.0)
    lead = units([(11, 0), (13, 0), (15, 0), (17, 0)])
    plan, context = sewn(
        (Kind.SATIN, [(Role.TIE, tie_in(a)), (Role.TOP, a), (Role.TRAVEL, lead)]),
        (Kind.SATIN, [(Role.TOP, b), (Role.TIE, tie_off(b))]),
        tied(c),
    )
    joined = replace(plan[1].pieces[0], link=Link.SEWN)
    return (plan[0], replace(plan[1], pieces=(joined, *plan[1].pieces[1:])), plan[2]), context


def test_travel_to_a_neighbour_stays_with_it() -> None:
    plan, context = led_to_the_next()
    router = router_of(plan, context)
    found = laid(router.as_found((2, 0, 1)), router)
    assert roles(found[1]) == [Role.TIE, Role.TOP, Role.TRAVEL]
    assert found[2].pieces[0].link is Link.SEWN


def test_travel_to_a_neighbour_that_moved_is_not_sewn() -> None:
    """It would lie bare on the cloth."""
    plan, context = led_to_the_next()
    router = router_of(plan, context)
    for way in ((0, 2, 1), (1, 2, 0), (1, 0, 2)):
        found = {o.id: o for o in laid(router.as_found(way), router)}
        assert Role.TRAVEL not in roles(found[0])
        assert found[1].pieces[0].link is not Link.SEWN or way[0] == 1


def test_nothing_is_sewn_to_the_first_object() -> None:
    plan, context = led_to_the_next()
    router = router_of(plan, context)
    for way in ((1, 0, 2), (1, 2, 0), (2, 1, 0)):
        assert laid(router.as_found(way), router)[0].pieces[0].link is not Link.SEWN


def test_between_objects_that_join_there_is_no_tie() -> None:
    # the second begins where the first ends
    a, b = column(10, 2), column(10, 2, x=10.4)
    plan, context = sewn(tied(b), tied(a))
    router = router_of(plan, context)
    route = router.as_found((1, 0))
    assert route.way[1] is Way.SEWN
    first, second = laid(route, router)
    assert roles(first) == [Role.TIE, Role.TOP]
    assert roles(second) == [Role.TOP, Role.TIE]
    assert second.pieces[0].link is Link.SEWN


@pytest.mark.parametrize("gap_mm", [2.0, 6.0])
def test_a_hidden_way_is_one_stitch_or_travel_under_the_cover(gap_mm) -> None:
    """Stitches of 2 to 3 mm stay hidden (trade rules 2.4)."""
    # a small column, and a fill sewn later that covers all between
    small, cover = column(6, 2, x=5, y=10), fill(30, 20)
    begin = column(6, 2, x=11 + gap_mm, y=10)
    plan, context = sewn(tied(begin), tied(small), (Kind.FILL, [(Role.TOP, cover)]))
    router = router_of(plan, context)
    route = router.as_found((1, 0, 2))
    assert route.way[1] is Way.HIDDEN
    first, second, _ = laid(route, router)
    line = np.concatenate([first.points()[-1:], second.points()])
    steps = np.hypot(*np.diff(line[: 1 + len(second.pieces[0].xy)], axis=0).T)
    assert second.pieces[0].link is Link.SEWN
    if gap_mm > ORDER.hidden_stitch_mm:
        assert roles(second)[0] is Role.TRAVEL
        assert steps.max() <= 10 * ORDER.travel_stitch_mm + 1
        assert steps.min() >= 5
    else:
        assert roles(second)[0] is Role.TOP
        assert steps[0] <= 10 * ORDER.hidden_stitch_mm


def test_of_two_objects_the_ends_are_joined_too() -> None:
    """Two long columns side by side, both sewn from the left: a way of 40 mm back."""
    under = units([(1, 0), (1.6, 0)])
    plan, context = sewn(
        (Kind.SATIN, [(Role.UNDERLAY, under), (Role.TOP, column(40, 2))]),
        (Kind.SATIN, [(Role.TOP, column(40, 2, y=4))]),
    )
    plan = tuple(replace(o, marks=frozenset({"underlay"})) for o in plan)
    before = measure(context.source)
    result = order(plan, context)
    after = measure(stream_of(result.plan, context).stream)
    assert before.jump_mm > 39
    assert after.jump_mm < 6


@pytest.mark.parametrize(
    ("kind", "open_", "hides"),
    [
        (Kind.FILL, False, True),
        (Kind.SATIN, False, True),
        (Kind.FILL, True, False),
        (Kind.SATIN, True, False),
        (Kind.RUN, False, False),
    ],
)
def test_only_closed_fills_and_satins_hide_what_is_sewn_under_them(kind, open_, hides) -> None:
    """Through open rows, a loose zigzag or a line the thread would show."""
    lines = run([(-10, 3), (2, 3)]), run([(8, 3), (20, 3)])
    cover = fill(10, 6) if kind is not Kind.SATIN else column(10, 6, y=3)
    plan, context = sewn(
        *[(Kind.RUN, [(Role.TOP, line)]) for line in lines],
        (kind, [(Role.TOP, cover)]),
        open={2: open_},
    )
    router = replace(router_of(plan, context), follows=(-1, -1, -1))
    assert router.best((0, 1, 2), [False] * 3).way[1] is (Way.HIDDEN if hides else Way.TRIM)


def test_several_pieces_of_a_tie_keep_their_order() -> None:
    xy = column(10, 2, x=40)
    first, second = tie_in(xy), tie_in(xy)[::-1]
    plan, context = sewn(
        tied(column(10, 2)),
        (Kind.SATIN, [(Role.TIE, first, 0), (Role.TIE, second, 1), (Role.TOP, xy)]),
        tied(column(10, 2, x=20)),
    )
    router = router_of(plan, context)
    found = laid(router.as_found((0, 2, 1)), router)[2]
    was = plan[1].pieces
    assert [p.layer for p in found.pieces] == [p.layer for p in was]
    assert found.pieces[0].link is Link.TRIM

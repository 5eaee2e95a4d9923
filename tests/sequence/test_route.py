"""Routes: their figures, what is kept as found, and when a new one is worth its change."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from invented import sewn as stream_of

from restitch.geometry import outline
from restitch.measure import measure
from restitch.model import Kind, Link, Role
from restitch.sequence.links import Way
from restitch.sequence.ordering import _router, order
from restitch.sequence.problem import searched as searched_order
from restitch.sequence.search import Search, worth_it
from restitch.sequence.settings import ORDER
from restitch.sequence.wishes import wish_of
from stitched import column, run, sewn


def row(count=4, gap_mm=6.0, order=None):
    """Columns of 10 mm in a row, ``gap_mm`` between them, sewn in the given order."""
    places = range(count) if order is None else order
    return sewn(*[(Kind.SATIN, [(Role.TOP, column(10, 2, x=(10 + gap_mm) * i))]) for i in places])


def router_of(plan, context):
    return _router(plan, [outline(o) for o in plan], context, ORDER)


def test_the_figures_of_a_route_are_those_of_the_stream() -> None:
    plan, context = row()
    route = router_of(plan, context).as_found(range(4))
    told = measure(context.source)
    assert route.jumps == told.jumps == 3
    assert route.trims == told.trims == 3
    assert route.jump_mm == pytest.approx(told.jump_mm, abs=0.01)
    assert route.colour_changes == told.colour_changes == 0
    assert route.kept == (False, True, True, True)
    # three cuts: length, a price for each jump, a price for each trim
    trim = context.profile.weights.trim / context.profile.weights.travel
    assert route.price_mm == pytest.approx(route.jump_price(ORDER.jump_mm) + 3 * trim, abs=0.01)


def test_the_solver_pays_for_cuts_what_the_route_pays() -> None:
    """Over bare cloth, every way too long to sew: else it would look for another order's gain."""
    lines = [run([(30.0 * i, 7.0 * (i * i % 5)), (30.0 * i + 12, 0)]) for i in range(5)]
    plan, context = sewn(*[(Kind.RUN, [(Role.TOP, line)]) for line in lines])
    plan = (*plan[:3], *(replace(o, thread=1, block=1) for o in plan[3:]))
    weights = replace(context.profile.weights, colour=90.0, trim=11.0, travel=2.0)
    context = replace(context, profile=replace(context.profile, weights=weights))
    router = router_of(plan, context)
    found = searched_order(router, [(0, 1)], range(5), None, context)
    route = router.best(found.order)
    assert route.trims == found.trims == 3
    assert found.colour_changes == route.colour_changes == 1
    # at the change of thread the needle stops anyway: no price for the jump
    assert found.cost == pytest.approx(90.0 + 2.0 * route.price_mm, abs=0.1)
    assert found.order.index(0) < found.order.index(1)


def test_the_solver_pays_for_the_stitches_that_an_option_adds() -> None:
    """In and out at the left end of a long column: a run under the cover is worth its stitches."""
    lines = [run([(-20, y), (-10, y)]) for y in (0, 3)]
    plan, context = sewn(
        (Kind.RUN, [(Role.TOP, lines[0])]),
        (Kind.SATIN, [(Role.TOP, column(40, 2))]),
        (Kind.RUN, [(Role.TOP, lines[1][::-1])]),
    )
    router = router_of(plan, replace(context, held=frozenset({0, 2})))
    found = searched_order(router, [(0, 1), (1, 2)], range(3), None, context)
    added = [router.options[x][k].cost_mm for x, k in zip(found.order, found.option, strict=True)]
    assert added[1] == pytest.approx(ORDER.added_stitch_mm * 40 / ORDER.travel_stitch_mm, rel=0.2)
    weights = context.profile.weights
    cuts = found.trims * (weights.trim + weights.travel * ORDER.jump_mm)
    assert found.cost == pytest.approx(weights.travel * (found.travel_mm + sum(added)) + cuts)


def test_the_order_as_it_came_is_one_the_solver_may_keep() -> None:
    """What must follow does, though the way would be shorter from the last to the first."""
    lines = [run([(x, 0), (x + 10, 0)]) for x in (0.0, 20.0, -20.0)]
    plan, context = sewn(*[(Kind.RUN, [(Role.TOP, line)]) for line in lines])
    router = router_of(plan, replace(context, held=frozenset({0, 1, 2})))
    found = searched_order(router, [(0, 1), (1, 2)], range(3), None, context)
    assert found.order == (0, 1, 2)
    assert found.option == (0, 0, 0)


def test_a_cut_on_the_spot_is_no_jump() -> None:
    """Writers round positions: a move of up to half a millimetre is none."""
    for gap_mm, jumps in ((0.4, 0), (0.6, 1)):
        lines = run([(0, 0), (10, 0)]), run([(10 + gap_mm, 0), (20, 0)])
        plan, context = sewn(*[(Kind.RUN, [(Role.TOP, line)]) for line in lines])
        route = router_of(plan, context).as_found((0, 1))
        assert (route.trims, route.jumps) == (1, jumps)
        trim = context.profile.weights.trim / context.profile.weights.travel
        assert route.price_mm == pytest.approx(gap_mm + ORDER.jump_mm * jumps + trim)


def test_jumps_at_a_change_of_thread_are_told_apart() -> None:
    plan, context = row()
    plan = (*plan[:2], *(replace(o, thread=1, block=1) for o in plan[2:]))
    route = router_of(plan, context).as_found(range(4))
    assert (route.colour_changes, route.trims, route.jumps) == (1, 2, 3)
    assert route.change_mm == pytest.approx(route.jump_mm / 3, abs=0.2)


def test_what_stood_together_in_the_source_is_known_whatever_is_gone_or_moved() -> None:
    plan, context = row()
    assert tuple(router_of(plan, context).follows) == (-1, 0, 1, 2)
    assert tuple(router_of(plan[1:], context).follows) == (-1, 0, 1)
    # the second was dropped: the third has lost its neighbour
    assert tuple(router_of((plan[0], *plan[2:]), context).follows) == (-1, -1, 1)
    assert tuple(router_of((plan[2], plan[0], plan[3], plan[1]), context).follows) == (3, -1, 0, 1)


@pytest.mark.parametrize(
    ("link", "gap_mm", "way"),
    [
        (Link.TRIM, 6.0, Way.TRIM),
        (Link.TRIM, 2.0, Way.TRIM),
        (Link.JUMP, 2.0, Way.JUMP),
        # a jump that is too long is going to be cut
        (Link.JUMP, 6.0, Way.TRIM),
        (Link.SEWN, 6.0, Way.SEWN),
    ],
)
def test_a_link_that_is_kept_stays_as_the_source_has_it(link, gap_mm, way) -> None:
    plan, context = row(2, gap_mm)
    context = replace(context, source=replace(context.source, format="dst"))
    plan = (plan[0], replace(plan[1], pieces=(replace(plan[1].pieces[0], link=link),)))
    route = router_of(plan, context).as_found((0, 1))
    assert route.way[1] is way
    trim = context.profile.weights.trim / context.profile.weights.travel
    length = route.jump_mm if link is not Link.SEWN else gap_mm
    price = {
        Way.SEWN: ORDER.sewn_share * length,
        Way.JUMP: length + ORDER.jump_mm,
        Way.TRIM: length + ORDER.jump_mm + trim,
    }[way]
    assert route.price_mm == pytest.approx(price, abs=0.11)


def test_the_best_route_turns_columns_to_meet() -> None:
    # two columns side by side, both sewn from left to right: the way back is saved
    plan, context = sewn(
        (Kind.SATIN, [(Role.TOP, column(20, 2))]), (Kind.SATIN, [(Role.TOP, column(20, 2, y=5))])
    )
    router = router_of(plan, context)
    found, best = router.as_found((0, 1)), router.best((0, 1))
    assert found.jump_mm > 20
    assert best.jump_mm < 6.5
    assert best.price_mm < found.price_mm
    assert not all(best.kept)
    # only what may be moved is
    held = router.best((0, 1), [False, False])
    assert held.option == (0, 0)
    one = router.best((0, 1), [False, True])
    assert one.option[0] == 0
    assert one.option[1] != 0


def test_far_joins_of_a_file_without_other_faults_are_mended() -> None:
    """No colour change to be saved: the way alone is worth it."""
    plan, context = row(8, 2.0, order=[0, 4, 1, 5, 2, 6, 3, 7])
    result = order(plan, context)
    assert result.changes[0].fix == "sequence"
    assert result.changes[0].cause == "far joins"
    ids = [o.id for o in result.plan]
    assert ids in ([0, 2, 4, 6, 1, 3, 5, 7], [7, 5, 3, 1, 6, 4, 2, 0])
    before, after = measure(context.source), measure(stream_of(result.plan, context).stream)
    assert after.jump_mm < 0.3 * before.jump_mm


def searched(saved: float, *, changes=0, wish_order=None) -> Search:
    """A search whose best route saves a share of the jumps' price, all in one thread."""
    plan, context = row(2, 40.0)
    base = router_of(plan, context).as_found((0, 1))
    price = base.jump_price(ORDER.jump_mm)
    best = base._replace(
        jump_mm=base.jump_mm - saved * price,
        colour_changes=base.colour_changes - changes,
        order=wish_order or base.order,
    )
    return Search(base, base, base, best, False, None)


@pytest.mark.parametrize(
    ("saved", "anyway", "worth"),
    [
        (0.0, False, False),
        (ORDER.save_alone - 0.01, False, False),
        (ORDER.save_alone + 0.01, False, True),
        (ORDER.save_along - 0.01, True, False),
        (ORDER.save_along + 0.01, True, True),
    ],
)
def test_a_new_order_must_save_enough_and_less_where_stitches_change_anyway(
    saved, anyway, worth
) -> None:
    assert worth_it(searched(saved), anyway, None, ORDER) is worth


def test_a_colour_change_saved_is_always_worth_it_and_nothing_saved_never() -> None:
    assert worth_it(searched(-0.5, changes=1), False, None, ORDER)
    plan, context = row(2, 0.0)
    none = router_of(plan, context).as_found((0, 1))
    nothing = none._replace(jumps=0, jump_mm=0.0)
    assert not worth_it(Search(nothing, nothing, nothing, nothing, False, None), True, None, ORDER)


def test_half_of_what_a_wish_costs_is_worth_a_new_order() -> None:
    from restitch.fabrics.model import OrderRules

    # the first lies above the second: from the bottom up the second comes first
    wish = wish_of(OrderRules(bottom_up=1.0), [shapely.box(0, 0, 5, 5), shapely.box(0, 20, 5, 25)])
    assert worth_it(searched(0.0, wish_order=(1, 0)), False, wish, ORDER)
    assert not worth_it(searched(0.0), False, wish, ORDER)


def test_one_object_or_none_is_no_order() -> None:
    plan, context = sewn((Kind.RUN, [(Role.TOP, run([(0, 0), (20, 0)]))]))
    result = order(plan, context)
    assert [o.id for o in result.plan] == [0]
    assert order((), context).plan == ()

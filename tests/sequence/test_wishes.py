"""Soft wishes: caps centre out and bottom up, one area before the next."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from invented import broken_pairs, planned, present_pairs

from restitch.fabrics.model import OrderRules
from restitch.geometry import outline
from restitch.model import Kind, Role
from restitch.sequence import order
from restitch.sequence.wishes import areas_of, wish_of, wish_price
from stitched import column, run, sewn


def scattered():
    """Ten columns here and there, sewn in no order."""
    rng = np.random.default_rng(4)
    spots = rng.uniform(-40, 40, (10, 2))
    return sewn(*[(Kind.SATIN, [(Role.TOP, column(6, 2, x=x, y=y))]) for x, y in spots])


@pytest.mark.parametrize("rules", [OrderRules(centre_out=8.0), OrderRules(bottom_up=8.0)])
def test_a_wish_is_followed(rules) -> None:
    plan, context = scattered()
    wishing = replace(context, profile=replace(context.profile, order=rules))
    wish = wish_of(rules, [outline(o) for o in plan])
    order_found = [o.id for o in order(plan, wishing).plan]
    assert wish_price(wish, order_found) < 0.2 * wish_price(wish, range(10))
    assert wish_price(wish, order_found) < 0.5 * wish_price(
        wish, [o.id for o in order(plan, context).plan]
    )


def test_no_layer_is_broken_for_a_wish() -> None:
    plan, context = planned("compass_rose", breakers=("scrambled",))
    rules = OrderRules(centre_out=8.0)
    wishing = replace(context, profile=replace(context.profile, order=rules))
    assert broken_pairs(order(plan, wishing).plan, present_pairs(plan)) == []


def test_areas_are_objects_that_nearly_touch() -> None:
    boxes = [shapely.box(x, 0, x + 5, 5) for x in (0, 6, 30, 33)]
    assert areas_of(boxes).tolist() == [0, 0, 1, 1]


def test_no_wish_costs_nothing() -> None:
    assert wish_of(OrderRules(), [shapely.box(0, 0, 1, 1)]) is None
    assert wish_price(None, [0, 1]) == 0.0


def test_the_price_of_an_order_is_the_way_back_and_each_change_of_area() -> None:
    """Two areas of two boxes, 20 mm apart; on a cap the bottom (larger y) comes first."""
    boxes = [shapely.box(x, y, x + 4, y + 4) for x, y in ((0, 0), (0, 6), (20, 0), (20, 6))]
    both = wish_of(OrderRules(bottom_up=2.0, area_by_area=5.0), boxes)
    # up is free, 6 mm down cost 12, each of the changes between the areas 5
    assert wish_price(both, [1, 0, 3, 2]) == pytest.approx(12 + 5)
    assert wish_price(both, [1, 3, 0, 2]) == pytest.approx(0 + 15)
    assert wish_price(both, [0, 1, 2, 3]) == pytest.approx(24 + 5)
    only = wish_of(OrderRules(area_by_area=5.0), boxes)
    assert wish_price(only, [0, 2, 1, 3]) == pytest.approx(15)


def test_the_centre_is_that_of_all_objects_and_farther_comes_later() -> None:
    boxes = [shapely.box(x, 0, x + 2, 2) for x in (0, 10, 20)]
    wish = wish_of(OrderRules(centre_out=1.0), boxes)
    assert wish.rank.tolist() == pytest.approx([10, 0, 10])
    assert wish_price(wish, [1, 0, 2]) == 0.0
    assert wish_price(wish, [0, 1, 2]) == pytest.approx(10)


def test_what_shows_nothing_has_no_place_and_no_wish() -> None:
    boxes = [shapely.box(0, 0, 2, 2), shapely.Polygon(), shapely.box(10, 0, 12, 2)]
    wish = wish_of(OrderRules(centre_out=1.0), boxes)
    assert wish.rank.tolist() == pytest.approx([5, 0, 5])
    assert wish_of(OrderRules(centre_out=1.0), [shapely.Polygon()] * 2) is None


def test_a_cap_with_an_object_that_shows_nothing_is_ordered() -> None:
    under = (Kind.SATIN, [(Role.UNDERLAY, run([(0, 0), (20, 0)]))])
    tops = [(Kind.SATIN, [(Role.TOP, column(10, 2, x=x))]) for x in (60, 30)]
    plan, context = sewn(under, *tops)
    rules = OrderRules(centre_out=40.0, bottom_up=20.0, area_by_area=1.0)
    result = order(plan, replace(context, profile=replace(context.profile, order=rules)))
    assert {o.id for o in result.plan} == {0, 1, 2}

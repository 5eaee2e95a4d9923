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
from stitched import column, sewn


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

"""The routes that may be taken, and whether the best is worth its change."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache, partial
from typing import NamedTuple

from restitch.fix.context import Context
from restitch.geometry.overlap import Pair
from restitch.sequence.layering import Layering, repaired
from restitch.sequence.problem import searched
from restitch.sequence.route import Route, Router
from restitch.sequence.settings import OrderSettings
from restitch.sequence.solver import Solution, Wish
from restitch.sequence.wishes import wish_price


class Search(NamedTuple):
    """The routes that may be taken."""

    found: Route
    """The order as found, everything sewn as found."""
    base: Route
    """The same, repaired where the layering asks for it."""
    least: Callable[[], Route]
    """The same order; objects that changed anyway may choose their ends."""
    best: Route
    """Any order; the same where no order was searched for."""
    proved: bool
    changes_at_least: int | None


def search_of(
    router: Router,
    layers: Layering,
    blocks: Sequence[Pair],
    wish: Wish | None,
    context: Context,
    asked: bool,
) -> Search:
    """Return the routes; the best order is searched for only where it is asked for.

    ``blocks``: pairs that keep colour blocks in their order, which only a large saving may break.
    """
    count = len(router.bodies)
    base_order = repaired(count, layers.pairs)
    pairs = (*layers.pairs, *blocks)
    base = router.as_found(base_order)
    found = router.as_found(range(count)) if layers.swapped else base
    changed = [bool(b.obj.marks) for b in router.bodies]
    least = cache(lambda: router.best(base_order, changed) if any(changed) else base)
    if not asked:
        return Search(found, base, least, least(), False, None)
    present = router.best(base_order)
    search = partial(searched, router, base=base_order, wish=wish, context=context)
    better = partial(_better, router, base=base, present=present, wish=wish, context=context)
    answer = search(pairs)
    best, settings = better(answer), router.rules.settings
    if blocks and _may_break_blocks(best, settings):
        other = search(layers.pairs)
        freed = better(other)
        gain = 1.0 - freed.jump_price(settings.jump_mm) / best.jump_price(settings.jump_mm)
        if gain >= settings.save_blocks:
            best, answer = freed, other
    return Search(found, base, least, best, answer.proved, answer.lower_bound_changes)


def _better(
    router: Router,
    answer: Solution,
    base: Route,
    present: Route,
    wish: Wish | None,
    context: Context,
) -> Route:
    """The route of the order found, or of the ``present`` one where that is cheaper.

    The solver does not see what later stitching hides: its order may lose to the present one.
    """
    best = router.best(answer.order)
    if best.colour_changes < base.colour_changes:
        return best
    return min(
        (present, best),
        key=lambda r: (_cost(r, context) + wish_price(wish, r.order), r.jumps),
    )


def _may_break_blocks(best: Route, settings: OrderSettings) -> bool:
    """Whether the ways between colour blocks are long enough for another order of them to pay."""
    return best.change_mm >= settings.save_blocks * best.jump_price(settings.jump_mm) > 0


def _cost(route: Route, context: Context) -> float:
    weights = context.profile.weights
    return weights.colour * route.colour_changes + weights.travel * route.price_mm


def worth_it(search: Search, anyway: bool, wish: Wish | None, settings: OrderSettings) -> bool:
    """Return whether the best route is worth its change.

    ``anyway``: other fixes change the stitching, so that less must be saved.
    """
    if search.best.colour_changes < search.base.colour_changes:
        return True
    wished = wish_price(wish, search.base.order)
    if wished > 0 and wish_price(wish, search.best.order) <= (1.0 - settings.save_wishes) * wished:
        return True
    base, best = (r.jump_price(settings.jump_mm) for r in (search.base, search.best))
    share = settings.save_along if anyway else settings.save_alone
    return base > 0 and best <= (1.0 - share) * base

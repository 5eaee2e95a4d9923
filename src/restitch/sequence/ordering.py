"""The sewing order of a plan: layering first, then the fewest cuts and the shortest way."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import field
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from restitch.check.judge_joins import JoinRules, joins, needless_blocks, scatter
from restitch.check.judge_layering import Buried, buried_pairs
from restitch.fix.context import Context, Plan
from restitch.geometry import outline
from restitch.geometry.overlap import Pair, overlaps
from restitch.model import Change, OrderFacts, State
from restitch.sequence.account import layering_changes, links_change, sequence_change, with_stitches
from restitch.sequence.body import bodies
from restitch.sequence.layering import Layering
from restitch.sequence.links import LinkRules, Way, link_rules
from restitch.sequence.options import options_of
from restitch.sequence.precedence import block_order, blocks_tell_threads, layering_of
from restitch.sequence.route import Route, Router
from restitch.sequence.search import search_of, worth_it
from restitch.sequence.settings import ORDER, OrderSettings
from restitch.sequence.sewing import sewn
from restitch.sequence.ties import cut, share_locked, tied
from restitch.sequence.wishes import wish_of

if TYPE_CHECKING:
    from shapely import Geometry


class OrderResult(NamedTuple):
    """A plan in sewing order, every link decided, and what is known about it."""

    plan: Plan
    changes: tuple[Change, ...]
    facts: OrderFacts = field(default_factory=OrderFacts)


def order(
    plan: Plan,
    context: Context,
    changed_before: Iterable[Change] = (),
    settings: OrderSettings = ORDER,
) -> OrderResult:
    """Return the plan in its sewing order, with travel, trims and ties laid.

    ``changed_before``: changes that other fixes made; they decide how much must be saved before
    other objects are moved. Objects that stay where they are keep their stitches, ties and links
    record by record; where nothing needs doing the plan comes back as it is. Deterministic.
    """
    plan = tuple(o for o in plan if o.pieces)
    if len(plan) < 2:
        return _linked(plan, context, frozenset(), plan, settings)
    outlines = [outline(o) for o in plan]
    overlapping = overlaps(plan, outlines)
    found = _found_pairs(plan, outlines, context)
    layers = layering_of(plan, overlapping, found, context)
    swaps = layering_changes(plan, found, layers, context)
    notes = _notes(plan, layers, context)
    anyway = bool(layers.swapped) or _changed_anyway(changed_before, context, settings)
    wish = wish_of(context.profile.order, outlines)
    asked = "sequence" in context.profile.fixes and (
        anyway or wish is not None or _asks_for_order(plan, overlapping)
    )
    if not (asked or layers.swapped or _touched(plan, context)):
        done = _linked(plan, context, frozenset(), plan, settings)
        fewest = len({o.thread for o in plan}) - 1
        return OrderResult(done.plan, (*swaps, *done.changes), OrderFacts(False, fewest, notes))
    router = _router(plan, outlines, context, settings)
    blocks = block_order(plan) if blocks_tell_threads(context) and not layers.swapped else ()
    search = search_of(router, layers, blocks, wish, context, asked)
    worth = asked and worth_it(search, anyway, wish, settings)
    state = context.state_of("sequence")
    route = search.best if worth and state is State.APPLIED else search.least()
    moved = sequence_change(plan, search.found, search.best, state) if worth else ()
    if _as_it_was(route, router):
        ordered, fresh = plan, frozenset[int]()
    else:
        ordered, fresh = sewn(route, router), _new_jumps(route)
    done = _linked(ordered, context, fresh, plan, settings)
    proved = search.proved and route is search.best
    notes += _block_note(done.plan, context)
    facts = OrderFacts(proved, search.changes_at_least, notes)
    if state is State.APPLIED:
        moved = tuple(with_stitches(c, plan, done.plan) for c in moved)
    return OrderResult(done.plan, (*swaps, *moved, *done.changes), facts)


def _found_pairs(plan: Plan, outlines: Sequence[Geometry], context: Context) -> tuple[Buried, ...]:
    """The pairs that the layering rules find, where the profile asks for them."""
    if "layering" not in context.profile.fixes:
        return ()
    return buried_pairs(plan, {o.id: shape for o, shape in zip(plan, outlines, strict=True)})


def _touched(plan: Plan, context: Context) -> bool:
    """Whether fixes before this one changed or dropped an object."""
    return any(o.marks for o in plan) or len(plan) < len(context.objects)


def _router(
    plan: Plan, outlines: Sequence[Geometry], context: Context, settings: OrderSettings
) -> Router:
    taken = bodies(plan, context)
    return Router(
        bodies=taken,
        options=[options_of(b, o, settings) for b, o in zip(taken, outlines, strict=True)],
        follows=_follows(plan, context),
        outlines=outlines,
        rules=link_rules(context.profile, context.source.format, settings),
    )


def _follows(plan: Plan, context: Context) -> tuple[int, ...]:
    """For each object the place of the one sewn just before it in the source, or -1."""
    ids = [o.id for o in sorted(context.objects.values(), key=lambda o: o.start)]
    rank = {id_: r for r, id_ in enumerate(ids)}
    place = {rank[o.id]: i for i, o in enumerate(plan)}
    return tuple(place.get(rank[o.id] - 1, -1) for o in plan)


def _asks_for_order(plan: Plan, overlapping: Sequence[Pair]) -> bool:
    """Whether the plan itself shows that its order is poor."""
    rules = JoinRules()
    if needless_blocks(plan, overlapping) or scatter(plan) >= rules.scattered:
        return True
    found = joins(plan, rules)
    return found is not None and found.far >= rules.far


def _changed_anyway(
    changed_before: Iterable[Change], context: Context, settings: OrderSettings
) -> bool:
    """Whether other fixes changed so much that a new order is worth having too."""
    sizes = [abs(c.stitches_saved) for c in changed_before if c.state is State.APPLIED]
    total = len(context.source.stitch_index)
    return sum(sizes) >= settings.changed_share * total or any(
        s >= settings.changed_stitches for s in sizes
    )


def _as_it_was(route: Route, router: Router) -> bool:
    """Whether every object is sewn as found, after the same neighbour as before."""
    in_order = all(a < b for a, b in pairwise(route.order))
    joined_anew = any(
        len(o[0].parts) != len(b.core) for o, b in zip(router.options, router.bodies, strict=True)
    )
    return in_order and not any(route.option) and all(route.kept[1:]) and not joined_anew


def _new_jumps(route: Route) -> frozenset[int]:
    return frozenset(
        place
        for place, (way, kept) in enumerate(zip(route.way, route.kept, strict=True))
        if way is Way.JUMP and not kept
    )


def _linked(
    plan: Plan,
    context: Context,
    new_jumps: frozenset[int],
    before: Plan,
    settings: OrderSettings,
) -> OrderResult:
    """Trim what is long and tie what is loose: at new cuts always, else where `links` may."""
    rules = link_rules(context.profile, context.source.format, settings)
    every = share_locked(before) < settings.locked_share
    _, trims, ties = _secured(before, rules, frozenset(), every)
    missing = trims + ties > 0 and "links" in context.profile.fixes
    state = context.state_of("links")
    change = links_change(before, trims, ties, state) if missing else ()
    if plan is before and not (missing and state is State.APPLIED):
        return OrderResult(plan, change)
    secured = _secured(plan, rules, new_jumps, every)[0]
    if plan is before:  # else the new order tells
        change = tuple(with_stitches(c, plan, secured) for c in change)
    return OrderResult(secured, change)


def _secured(
    plan: Plan, rules: LinkRules, new_jumps: frozenset[int], every: bool
) -> tuple[Plan, int, int]:
    """The plan with its trims and ties, and how many of each were added."""
    trimmed, trims = cut(plan, rules.trim_over_mm)
    locked, ties = tied(trimmed, new_jumps, every)
    return locked, trims, ties


def _notes(plan: Plan, layers: Layering, context: Context) -> tuple[str, ...]:
    notes = []
    if layers.refused:
        pairs = ", ".join(f"{plan[a].id} under {plan[b].id}" for a, b in layers.refused)
        notes.append(
            f"No order can bring {pairs}: parts lie over and under each other; left as they were."
        )
    blocks = len(context.source.threads)
    threads = len({o.thread for o in plan})
    if not context.source.colours_known and blocks == threads and blocks > 1:
        notes.append(
            f"The format stores no colours: {blocks} colour blocks are taken as {blocks} threads. "
            "A list of threads (--threads) could let equal ones merge."
        )
    return tuple(notes)


def _block_note(plan: Plan, context: Context) -> tuple[str, ...]:
    """Say it where colour blocks sew in another order and only their place tells their threads."""
    blocks = [o.block for o in plan]
    order_now = [b + 1 for i, b in enumerate(blocks) if i == 0 or b != blocks[i - 1]]
    if not blocks_tell_threads(context) or order_now == sorted(set(order_now)):
        return ()
    return (
        "Colour blocks sew in a new order; by their numbers in the source: "
        f"{', '.join(map(str, order_now))}.",
    )

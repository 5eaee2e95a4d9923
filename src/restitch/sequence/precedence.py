"""The layering of a plan: what overlaps, what stops hold, what the user and the guard hold."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

from restitch.check.judge_layering import Buried
from restitch.fix.context import Context, Plan
from restitch.geometry.overlap import Pair
from restitch.model import Command, Link, PlannedObject
from restitch.sequence.layering import Layering, layering


def swap_id(under: PlannedObject, over: PlannedObject) -> str:
    """Stable id of the change that brings one object under another."""
    return f"layering-{under.first_record}-{over.first_record}"


def layering_of(
    plan: Plan, present: Iterable[Pair], found: Iterable[Buried], context: Context
) -> Layering:
    """Return who is sewn before whom: as it is, but for the found pairs that may be turned.

    ``present``: places (a, b), a < b, of overlapping objects.
    """
    place = {o.id: i for i, o in enumerate(plan)}
    pairs = [(place[b.before], place[b.after]) for b in found]
    vetoed = _vetoed_pairs(plan, context)
    kept = _kept_pairs(plan, context)
    return layering(
        (*present, *pauses(plan, context), *kept),
        [pair for pair in pairs if pair not in vetoed],
        held=frozenset(kept) | {(upper, lower) for lower, upper in vetoed},
    )


def _vetoed_pairs(plan: Plan, context: Context) -> frozenset[Pair]:
    """Places (lower, upper) that must not be turned: the user or the guard said no."""
    place = {str(o.first_record): i for i, o in enumerate(plan)}
    names = (v.split("-")[1:] for v in context.vetoed if v.startswith("layering-"))
    return frozenset(
        (place[n[0]], place[n[1]])
        for n in names
        if len(n) == 2 and n[0] in place and n[1] in place and place[n[0]] > place[n[1]]
    )


def _kept_pairs(plan: Plan, context: Context) -> tuple[Pair, ...]:
    """Places (lower, upper) of the pairs whose order the guard holds."""
    place = {o.id: i for i, o in enumerate(plan)}
    return tuple(
        (place[a], place[b])
        for a, b in sorted(context.kept_pairs)
        if a in place and b in place and place[a] < place[b]
    )


def pauses(plan: Plan, context: Context) -> tuple[Pair, ...]:
    """Pairs that keep everything on its side of a halt for the operator.

    A halt is a stop, or a colour block that goes on with the thread of the block before: many
    formats store a stop as a colour change.
    """
    threads = context.source.threads
    repeats = {
        block
        for block in range(1, len(threads))
        if context.source.colours_known and threads[block] == threads[block - 1]
    }
    held = [
        i
        for i, o in enumerate(plan)
        if any(p.link is Link.STOP for p in o.pieces)
        or (o.block in repeats and (i == 0 or plan[i - 1].block != o.block))
    ]
    return tuple((min(i, s), max(i, s)) for s in held for i in range(len(plan)) if i != s)


def blocks_tell_threads(context: Context) -> bool:
    """Whether the place of a colour block is all that tells its thread: no colours, no needles.

    The shop's own list then says which thread is the first, the second ...
    """
    source = context.source
    return not source.colours_known and not (source.command == Command.NEEDLE_SET).any()


def block_order(plan: Plan) -> tuple[Pair, ...]:
    """Pairs that keep colour blocks in their order."""
    places: dict[int, list[int]] = {}
    for i, obj in enumerate(plan):
        places.setdefault(obj.block, []).append(i)
    return tuple(
        (a, b)
        for one, other in pairwise(sorted(places))
        for a in places[one]
        for b in places[other]
    )

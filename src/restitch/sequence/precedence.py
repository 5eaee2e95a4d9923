"""The layering of a plan: what overlaps, what stops hold, what the user and the guard hold."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from restitch.check.judge_layering import Buried
from restitch.fix.context import Context, Plan
from restitch.geometry.overlap import Pair
from restitch.model import Link, PlannedObject, State
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
    vetoed = {
        (lower, upper)
        for lower, upper in pairs
        if lower > upper
        and context.state_of(swap_id(plan[lower], plan[upper])) is not State.APPLIED
    }
    kept = _kept_pairs(plan, context)
    return layering(
        (*present, *stops(plan), *kept),
        [pair for pair in pairs if pair not in vetoed],
        held=frozenset(kept) | {(upper, lower) for lower, upper in vetoed},
    )


def _kept_pairs(plan: Plan, context: Context) -> tuple[Pair, ...]:
    """Places (lower, upper) of the pairs whose order the guard holds."""
    place = {o.id: i for i, o in enumerate(plan)}
    return tuple(
        (place[a], place[b])
        for a, b in sorted(context.kept_pairs)
        if a in place and b in place and place[a] < place[b]
    )


def stops(plan: Sequence[PlannedObject]) -> tuple[Pair, ...]:
    """Pairs that keep everything on its side of an object that waits for the operator."""
    held = [i for i, o in enumerate(plan) if any(p.link is Link.STOP for p in o.pieces)]
    return tuple((min(i, s), max(i, s)) for s in held for i in range(len(plan)) if i != s)

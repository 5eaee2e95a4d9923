"""What ordering and linking did, as changes with reasons and figures."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from restitch.check.judge_layering import Buried
from restitch.fix.context import Context, Plan
from restitch.fix.objects import stitch_count
from restitch.model import Change, Link, PlannedObject, State
from restitch.sequence.layering import Layering
from restitch.sequence.precedence import swap_id
from restitch.sequence.route import Route

_REASON = {
    "ends": "Its end stops in the border; sewn first, the border covers the end",
    "sister": "It ends at the border like others of its colour; sewn first, the border covers it",
    "outline": "Its edge lies in the outline; sewn first, the outline covers the edge",
}
_ALONG = "It lies between an object and the border that has to cover it; it goes under too"


def layering_changes(
    plan: Plan, found: Iterable[Buried], layers: Layering, context: Context
) -> tuple[Change, ...]:
    """Return one change for each pair that was sewn the wrong way round, and for each further
    pair that has to be turned along with it."""
    place = {o.id: i for i, o in enumerate(plan)}
    refused = set(layers.refused)
    reasons = {}
    for pair in found:
        lower, upper = place[pair.before], place[pair.after]
        if lower > upper and (lower, upper) not in refused:
            reasons[lower, upper] = _REASON[pair.rule]
    for pair_along in layers.along:
        reasons.setdefault(pair_along, _ALONG)
    return tuple(
        _swap(plan[lower], plan[upper], reason, context)
        for (lower, upper), reason in reasons.items()
    )


def _swap(under: PlannedObject, over: PlannedObject, reason: str, context: Context) -> Change:
    middle, box = context.place_of(under.points())
    return Change(
        id=swap_id(under, over),
        fix="layering",
        cause="ends exposed",
        reason=f"{reason}: {under.kind} {under.id} now goes under {over.kind} {over.id}.",
        objects=(under.id, over.id),
        place_mm=middle,
        box_mm=box,
        state=context.state_of(swap_id(under, over)),
    )


def sequence_change(plan: Plan, before: Route, after: Route, state: State) -> tuple[Change, ...]:
    """Return the change for the new order and ends, or nothing where all stays."""
    moved = _moved(plan, before, after)
    if not moved:
        return ()
    was, now = _figures(before), _figures(after)
    saved = [
        f"{was[key]:,.0f} to {now[key]:,.0f} {word}"
        for key, word in (
            ("colour_changes", "colour changes"),
            ("trims", "trims within a colour"),
            ("jumps", "jumps"),
            ("jump_mm", "mm from object to object"),
        )
        if was[key] != now[key]
    ]
    new_order = list(after.order) != list(before.order)
    what = "Sewn in a new order, near ends joined" if new_order else "Near ends joined"
    reason = f"{what}: {', '.join(saved)}." if saved else f"{what}."
    return (
        Change(
            id="sequence",
            fix="sequence",
            cause="far joins"
            if was["colour_changes"] <= now["colour_changes"]
            else "needless colour changes",
            reason=reason,
            objects=moved,
            before=was,
            after=now,
            state=state,
        ),
    )


def with_stitches(change: Change, before: Plan, after: Plan) -> Change:
    """The change with the stitches of all objects: travel and ties are laid anew with the order."""
    was, now = (float(sum(stitch_count(o.pieces) for o in p)) for p in (before, after))
    return replace(
        change, before={**change.before, "stitches": was}, after={**change.after, "stitches": now}
    )


def links_change(plan: Plan, trims: int, ties: int, state: State) -> tuple[Change, ...]:
    """Return the change for trims and ties that were missing."""
    parts = [_count(trims, "trim")] * bool(trims) + [_count(ties, "tie")] * bool(ties)
    jumps = [p.link for o in plan for p in o.pieces]
    return (
        Change(
            id="links",
            fix="links",
            cause="missing tie" if ties else "long jump without trim",
            reason=f"{' and '.join(parts)} added: thread ends are locked, long jumps are cut.",
            before={"trims": float(jumps.count(Link.TRIM))},
            after={"trims": float(jumps.count(Link.TRIM) + trims), "ties_added": float(ties)},
            state=state,
        ),
    )


def _moved(plan: Plan, before: Route, after: Route) -> tuple[int, ...]:
    """Ids of the objects that have another neighbour before them, or are sewn another way."""
    was = dict(zip(before.order, (-1, *before.order), strict=False))
    return tuple(
        sorted(
            plan[index].id
            for index, lead, option in zip(
                after.order, (-1, *after.order), after.option, strict=False
            )
            if was[index] != lead or option
        )
    )


def _figures(route: Route) -> dict[str, float]:
    return {
        "colour_changes": float(route.colour_changes),
        "trims": float(route.trims),
        "jumps": float(route.jumps),
        "jump_mm": float(np.round(route.jump_mm, 1)),
    }


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"

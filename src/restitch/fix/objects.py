"""What the object-local fixes share: who may be touched, how a change is told."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from restitch.fix.context import Context, Plan, change_id
from restitch.model import (
    UNITS_PER_MM,
    Change,
    IntArray,
    Link,
    Piece,
    PlannedObject,
    State,
)


def stitch_count(pieces: Iterable[Piece]) -> int:
    """Needle points in the pieces."""
    return sum(len(p.xy) for p in pieces)


def may_touch(obj: PlannedObject, context: Context) -> bool:
    """Whether a fix may change an object: read with confidence, no operator stop inside.

    A stop that leads to the object stays before whatever its first stitch becomes.
    """
    sure = obj.confidence >= context.profile.limits.confidence
    return sure and not any(p.link is Link.STOP for p in obj.pieces[1:])


def gap_mm(a: IntArray, b: IntArray) -> float:
    """Distance of two needle points (0.1 mm) in millimetres."""
    return float(np.hypot(*(np.asarray(a, np.float64) - b)) / UNITS_PER_MM)


def change_of(
    fix: str,
    cause: str,
    reason: str,
    obj: PlannedObject,
    context: Context,
    before: Mapping[str, float],
    after: Mapping[str, float],
) -> Change:
    """Return the change of one fix on one object, placed, with its state from the decisions."""
    place, box = context.place_of(obj.points())
    name = change_id(fix, obj)
    return Change(
        id=name,
        fix=fix,
        cause=cause,
        reason=reason,
        objects=(obj.id,),
        before=dict(before),
        after=dict(after),
        place_mm=place,
        box_mm=box,
        state=context.state_of(name),
    )


Treatment = tuple[PlannedObject | None, Change]
"""What a fix makes of an object (None: it goes), and the change that tells it."""


def treated(
    plan: Plan, treat: Callable[[PlannedObject], Treatment | None]
) -> tuple[Plan, tuple[Change, ...]]:
    """Return the plan with every object treated that may be, and all changes.

    An object that goes leaves its neighbours in the plan: a join that was sewn to it becomes a
    cut, and both neighbours are marked for the sequencer.
    """
    result: list[PlannedObject] = []
    changes: list[Change] = []
    missing = False
    for obj in plan:
        treatment = treat(obj)
        if treatment is not None:
            changed, change = treatment
            changes.append(change)
            if change.state is State.APPLIED:
                if changed is None:
                    missing = True
                    continue
                obj = changed
        result.append(_rejoined(obj, result) if missing else obj)
        missing = False
    return (tuple(result) if changes else plan), tuple(changes)


def _rejoined(obj: PlannedObject, before: Sequence[PlannedObject]) -> PlannedObject:
    first = obj.pieces[0]
    if first.link is not Link.SEWN:
        return obj
    cut = replace(first, link=Link.TRIM)
    return replace(obj, pieces=(cut, *obj.pieces[1:]), marks=obj.marks | {"entry"})


def mark(obj: PlannedObject, pieces: Sequence[Piece], *marks: str) -> PlannedObject:
    """Return the object with other pieces and further marks."""
    return replace(obj, pieces=tuple(pieces), marks=obj.marks | set(marks))

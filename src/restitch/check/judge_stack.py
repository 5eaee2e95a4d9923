"""Judge: is stitching stacked on itself? One verdict for the finding and for the fix."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from restitch.model import PlannedObject, SewnObject

SMALL_SHARE = 0.01
"""Surplus under this share of the file ..."""
SMALL_OBJECT = 40
"""... with no object over so many stitches is a misreading, not surplus. Our choice."""


class StackVerdict(NamedTuple):
    """Surplus stitching of one object."""

    kind: str
    """``hidden`` (no thread shows), ``doubled`` (sewn twice) or ``raised`` (stacked on itself)."""
    stitches: int
    """Surplus needle points."""
    layers: int
    """Times the object is sewn, the visible layer included."""
    whole: bool
    """True where the whole object goes."""


def stack_verdicts(
    plan: Sequence[PlannedObject], objects: Mapping[int, SewnObject]
) -> dict[int, StackVerdict]:
    """Return the verdict on every object with surplus stitching, by id; empty when there is
    too little in the file to be meant."""
    found = {}
    present = {o.id for o in plan}
    for obj in plan:
        verdict = _verdict(obj, objects.get(obj.id), present)
        if verdict is not None:
            found[obj.id] = verdict
    total = sum(len(p.xy) for o in plan for p in o.pieces)
    surplus = sum(v.stitches for v in found.values())
    if surplus < SMALL_SHARE * total and all(v.stitches <= SMALL_OBJECT for v in found.values()):
        return {}
    return found


def _verdict(obj: PlannedObject, read: SewnObject | None, present: set[int]) -> StackVerdict | None:
    count = sum(len(p.xy) for p in obj.pieces)
    if read is not None and read.hidden:
        return StackVerdict("hidden", count, 1, whole=True)
    if read is not None and read.copy_of is not None and read.copy_of in present:
        return StackVerdict("doubled", count, 2, whole=True)
    surplus = [p for p in obj.pieces if p.layer > 0]
    if not surplus:
        return None
    stitches = sum(len(p.xy) for p in surplus)
    if not any(p.layer == 0 and p.role == "top" for p in obj.pieces):
        return StackVerdict("hidden", count, 1, whole=True)
    again = any(p.role == "underlay" for p in surplus)
    layers = 1 + max(p.layer for p in surplus)
    return StackVerdict("doubled" if again else "raised", stitches, layers, whole=False)

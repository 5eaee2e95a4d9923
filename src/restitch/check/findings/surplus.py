"""Stitching that nobody sees: stacked layers, doubled objects, hidden objects."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from restitch.check.survey import FAULT, Survey
from restitch.model import Finding, SewnObject

STACKED, DOUBLED, HIDDEN = "stacked satin", "doubled object", "hidden stitching"


def find(survey: Survey) -> Iterator[Finding]:
    """Yield one finding for each object that is stacked, sewn twice or hidden."""
    deep = survey.layer > 0
    count = max((o.id for o in survey.objects), default=-1) + 1
    owned = deep & (survey.owner >= 0)
    surplus = np.bincount(survey.owner[owned], minlength=count)
    for obj in survey.objects:
        if obj.copy_of is not None or obj.hidden:
            stitches = int(np.count_nonzero(survey.owner == obj.id))
            yield _whole(survey, obj, stitches)
        elif surplus[obj.id]:
            yield _stacked(survey, obj, int(surplus[obj.id]))


def _whole(survey: Survey, obj: SewnObject, stitches: int) -> Finding:
    if obj.copy_of is not None:
        name, text = DOUBLED, f"This {obj.kind} is sewn twice; {stitches} stitches repeat it."
    else:
        name, text = HIDDEN, f"A {obj.kind} of {stitches} stitches lies wholly under later sewing."
    others = () if obj.copy_of is None else (obj.copy_of,)
    return survey.finding(
        name, FAULT, text, objects=(obj.id, *others), stitches=stitches, layers=1.0, fix="stack"
    )


def _stacked(survey: Survey, obj: SewnObject, stitches: int) -> Finding:
    layers = max(part.layer for part in obj.parts)
    return survey.finding(
        STACKED,
        FAULT,
        f"{layers + 1} layers of {obj.kind} are stacked here; the {layers} below "
        f"({stitches} stitches) only add height and holes.",
        objects=(obj.id,),
        stitches=stitches,
        layers=layers,
        fix="stack",
    )

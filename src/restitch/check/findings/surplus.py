"""Stitching that nobody sees: stacked layers, doubled objects, hidden objects."""

from __future__ import annotations

from collections.abc import Iterator

from restitch.check.judge_stack import StackVerdict
from restitch.check.survey import FAULT, Survey
from restitch.model import Finding, SewnObject

STACKED, DOUBLED, HIDDEN = "stacked satin", "doubled object", "hidden stitching"
_NAMES = {"raised": STACKED, "doubled": DOUBLED, "hidden": HIDDEN}


def find(survey: Survey) -> Iterator[Finding]:
    """Yield one finding for each object that is stacked, sewn twice or hidden."""
    for id_, verdict in sorted(survey.stacked.items()):
        obj = survey.by_id[id_]
        others = () if obj.copy_of is None or verdict.kind != "doubled" else (obj.copy_of,)
        yield survey.finding(
            _NAMES[verdict.kind],
            FAULT,
            _text(obj, verdict),
            objects=(id_, *others),
            stitches=verdict.stitches,
            layers=max(verdict.layers - 1, 1),
            fix="stack",
        )


def _text(obj: SewnObject, verdict: StackVerdict) -> str:
    if verdict.kind == "hidden":
        return f"A {obj.kind} of {verdict.stitches} stitches lies wholly under later sewing."
    if verdict.kind == "doubled":
        times = "twice" if verdict.layers == 2 else f"{verdict.layers} times"
        return f"This {obj.kind} is sewn {times}; {verdict.stitches} stitches only repeat it."
    return (
        f"{verdict.layers} layers of {obj.kind} are stacked here; those below the visible one "
        f"({verdict.stitches} stitches) only add height and holes."
    )

"""Needless colour changes: a thread taken up again though nothing asks for it."""

from __future__ import annotations

from collections.abc import Iterator

from restitch.check.judge_joins import needless_blocks
from restitch.check.survey import FAULT, Survey
from restitch.geometry.overlap import overlaps
from restitch.model import Finding

NAME = "needless colour change"


def find(survey: Survey) -> Iterator[Finding]:
    """Yield one finding for each colour block that could be sewn with an earlier one."""
    plan = survey.visible
    if len({o.thread for o in plan}) == len({o.block for o in plan}):
        return
    shapes = [survey.outlines[o.id] for o in plan]
    for start in needless_blocks(plan, overlaps(plan, shapes)):
        obj = plan[start]
        yield survey.finding(
            NAME,
            FAULT,
            f"Colour block {obj.block + 1} takes up a thread sewn before; nothing lies between "
            "the two, so one colour change could go.",
            objects=(obj.id,),
            minutes=survey.minutes(colour_changes=1),
            fix="sequence",
        )

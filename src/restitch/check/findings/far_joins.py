"""Far joins: objects entered at the far end, with a long way to it."""

from __future__ import annotations

from collections.abc import Iterator

from restitch.check.judge_joins import JoinRules, far_joins
from restitch.check.survey import FAULT, Survey
from restitch.model import Finding

NAME = "far joins"


def find(survey: Survey) -> Iterator[Finding]:
    """Yield one finding for the design when near ends would save a large share of its jumps."""
    found = far_joins(survey.visible)
    if found is None or found.share < JoinRules().save:
        return
    worst = survey.visible[found.worst]
    yield survey.finding(
        NAME,
        FAULT,
        f"Objects are entered at their far ends: {found.jump_mm:.0f} mm of jumps where near ends "
        f"would leave {found.near_mm:.0f} mm.",
        objects=(worst.id,),
        fix="sequence",
    )

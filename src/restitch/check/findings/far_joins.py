"""Far joins: objects entered at the far end, or sewn to and fro across the design."""

from __future__ import annotations

from collections.abc import Iterator

from restitch.check.judge_joins import JoinRules, joins, scatter
from restitch.check.survey import FAULT, Survey
from restitch.model import Finding

NAME = "far joins"


def find(survey: Survey) -> Iterator[Finding]:
    """Yield one finding for the design when near ends would save a large share of its jumps, or
    one when it is sewn to and fro across the cloth."""
    rules = JoinRules()
    found = joins(survey.visible, rules)
    if found is None:
        return
    worst = survey.visible[found.worst]
    if found.far >= rules.far:
        yield survey.finding(
            NAME,
            FAULT,
            f"Objects are entered at their far ends: {found.way_mm:.0f} mm of jumps lead to them, "
            f"{found.near_mm:.0f} mm would reach their near ends.",
            objects=(worst.id,),
            fix="sequence",
        )
    times = scatter(survey.visible)
    if times >= rules.scattered:
        yield survey.finding(
            NAME,
            FAULT,
            f"Objects are sewn to and fro across the design: the way between them is {times:.1f} "
            "times as long as from each to the nearest.",
            objects=(worst.id,),
            fix="sequence",
        )

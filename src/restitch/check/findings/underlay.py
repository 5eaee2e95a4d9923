"""Underlay that does not suit the column or fill on top of it, or is missing."""

from __future__ import annotations

from collections.abc import Iterator

from restitch.check.survey import FAULT, Survey
from restitch.model import Finding

UNSUITED, MISSING = "unsuited underlay", "missing underlay"


def find(survey: Survey) -> Iterator[Finding]:
    """Yield one finding for each visible object whose underlay the fix would lay anew."""
    kinds = {o.id: o.kind for o in survey.visible}
    for number, verdict in sorted(survey.underlain.items()):
        missing = verdict.fault == "missing"
        fabric = survey.profile.fabric.title
        if missing:
            said = f"has no underlay, which {fabric} asks for"
        else:
            said = f"lies on {verdict.text}: unsuited to {fabric}"
        yield survey.finding(
            MISSING if missing else UNSUITED,
            FAULT,
            f"This {kinds[number]} {said}.",
            objects=(number,),
            stitches=verdict.stitches,
            fix="underlay",
        )

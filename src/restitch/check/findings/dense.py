"""Satins and fills sewn denser than the fabric asks for."""

from __future__ import annotations

from collections.abc import Iterator

from restitch.check.survey import FAULT, Survey
from restitch.model import Finding

DENSE = "over-dense spacing"


def find(survey: Survey) -> Iterator[Finding]:
    """Yield one finding for each visible object that the spacing fix would open."""
    kinds = {o.id: o.kind for o in survey.visible}
    for number, verdict in sorted(survey.dense.items()):
        yield survey.finding(
            DENSE,
            FAULT,
            f"This {kinds[number]} is sewn at {verdict.spacing_mm:.2f} mm where "
            f"{survey.profile.fabric.title} asks for {verdict.target_mm:.2f}; "
            f"about {verdict.stitches} stitches too many.",
            objects=(number,),
            stitches=verdict.stitches,
            layers=verdict.target_mm / verdict.spacing_mm - 1.0,
            fix="spacing",
        )

"""Long jumps without trim: threads that lie loose on the face and catch."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from restitch.check.survey import FAULT, JUMP, NO_OBJECT, Survey
from restitch.model import Finding

NAME = "long jump without trim"


def find(survey: Survey) -> Iterator[Finding]:
    """Yield one finding for each jump over the profile's trim length that is not cut."""
    limit_mm = survey.profile.limits.trim_over_mm
    for at in np.flatnonzero((survey.link == JUMP) & (survey.step_mm > limit_mm)):
        # the design's first move comes from the hoop's centre, not from a stitch
        if at == 0:
            continue
        pair = dict.fromkeys(int(i) for i in survey.owner[at - 1 : at + 1] if i != NO_OBJECT)
        yield survey.finding(
            NAME,
            FAULT,
            f"A jump of {survey.step_mm[at]:.1f} mm is not trimmed (trim over {limit_mm:g} mm): "
            "the loose thread shows and catches.",
            objects=tuple(pair),
            at=survey.xy[at - 1 : at + 1],
            fix="links",
        )

"""Neighbouring parts that the pull of the fabric will draw apart."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

import numpy as np

from restitch.check.judge_gaps import Seam, seams_that_open
from restitch.check.survey import FAULT, WARNING, Survey
from restitch.model import Finding

NAME = "gap that will open"
SAID_MM = 0.05
"""Half the file's step: a lesser overlap is none."""


def find(survey: Survey) -> Iterator[Finding]:
    """Yield one finding for each two colours whose parts the fabric will draw apart.

    A warning, because no other fix may widen artwork; a fault where ``pull`` is asked for, which
    widens it.
    """
    seams = seams_that_open(survey.visible, survey.outlines, survey.profile)

    def colours(seam: Seam) -> tuple[int, ...]:
        return tuple(sorted(survey.planned[id_].thread for id_ in seam.objects))

    for _, group in groupby(sorted(seams, key=lambda s: (colours(s), s.objects)), key=colours):
        yield _finding(list(group), survey)


def _finding(seams: list[Seam], survey: Survey) -> Finding:
    worst = max(seams, key=lambda s: (round(s.opens_mm, 2), s.length_mm))
    length = sum(s.length_mm for s in seams)
    others = len({frozenset(s.objects) for s in seams}) - 1
    fabric, asked = survey.profile.fabric, "pull" in survey.profile.fixes
    held = (
        f"overlap by {worst.overlap_mm:.1f} mm"
        if worst.overlap_mm >= SAID_MM
        else "just meet"
        if worst.overlap_mm > -SAID_MM
        else f"are {-worst.overlap_mm:.1f} mm apart"
    )
    return survey.finding(
        NAME,
        FAULT if asked else WARNING,
        f"Parts {held}; {fabric.title} draws them {worst.wanted_mm:.1f} mm apart "
        f"({_amount(survey)}). A gap of about {worst.opens_mm:.1f} mm will open along "
        f"{length:.0f} mm"
        + (f", here and at {others} more. " if others else ". ")
        + ("The fix pull closes it." if asked else "Only the fix pull cures it: ask for it."),
        objects=tuple(dict.fromkeys(int(i) for s in [worst, *seams] for i in s.objects)),
        at=np.asarray(worst.xy),
        fix="pull" if asked else None,
    )


def _amount(survey: Survey) -> str:
    """What is reckoned as pull, and where the figure comes from."""
    stated, fabric = survey.profile.pull_mm, survey.profile.fabric
    if stated is not None:
        return f"pull of {stated:g} mm as stated"
    rule, source = fabric.pull, fabric.sources.get("pull.share", "our choice")
    return (
        f"pull of {rule.share:.0%} of the width, {rule.least_mm:g} to {rule.most_mm:g} mm: {source}"
    )

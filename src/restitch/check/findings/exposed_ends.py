"""Ends exposed: ends and edges sewn over the border that should cover them."""

from __future__ import annotations

from collections.abc import Iterator

from restitch.check.judge_layering import buried_pairs
from restitch.check.survey import FAULT, Survey
from restitch.model import Finding

NAME = "ends exposed"
_TEXT = {
    "ends": "ends in {over} but is sewn over it: the end shows.",
    "sister": "ends at {over} like others of its colour but is sewn over it: the end shows.",
    "outline": "has its edge in {over} but is sewn over it: the edge shows.",
}


def find(survey: Survey) -> Iterator[Finding]:
    """Yield one finding for each object that is sewn over the border it belongs under."""
    place = {o.id: i for i, o in enumerate(survey.visible)}
    for pair in buried_pairs(survey.visible, survey.outlines):
        if place[pair.before] > place[pair.after]:
            under, over = survey.planned[pair.before], survey.planned[pair.after]
            text = _TEXT[pair.rule].format(over=f"the {over.kind} border {over.id}")
            yield survey.finding(
                NAME,
                FAULT,
                f"The {under.kind} {under.id} {text}",
                objects=(under.id, over.id),
                fix="layering",
            )

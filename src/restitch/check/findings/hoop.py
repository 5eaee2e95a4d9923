"""Design larger than the hoop, or than the garment takes."""

from __future__ import annotations

from collections.abc import Iterator

from restitch.check.survey import WARNING, Survey
from restitch.model import UNITS_PER_MM, Finding

NAME = "larger than the hoop"


def find(survey: Survey) -> Iterator[Finding]:
    """Yield a warning for each field (the machine's hoop, the fabric's) that the design exceeds."""
    if not len(survey.xy):
        return
    width, height = (survey.xy.max(axis=0) - survey.xy.min(axis=0)) / UNITS_PER_MM
    fields = (
        ("the hoop", survey.profile.machine.hoop_mm, True),
        (f"what a {survey.profile.fabric.name} takes", survey.profile.fabric.field_mm, False),
    )
    for title, field, may_turn in fields:
        if field is None or (width <= field[0] and height <= field[1]):
            continue
        turned = may_turn and width <= field[1] and height <= field[0]
        yield survey.finding(
            NAME,
            WARNING,
            f"The design is {width:.1f} x {height:.1f} mm; {title} is "
            f"{field[0]:g} x {field[1]:g} mm. "
            + ("Turned by 90 degrees it fits." if turned else "Stitching cannot be made smaller."),
            at=survey.xy,
        )

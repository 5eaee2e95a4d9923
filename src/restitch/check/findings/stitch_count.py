"""More stitches than the fabric bears: light cloth puckers and pulls however well they are laid."""

from __future__ import annotations

from collections.abc import Iterator

from restitch.check.survey import WARNING, Survey
from restitch.model import Finding

NAME = "too many stitches"

MUCH_PER_CM2 = 2500 / 2.54**2
"""Stitches for each cm2 of artwork, detail and underlay included, that a whole logo is reckoned
with: 2,500 to the square inch (Freya Royal, stitch estimator chart)."""


def find(survey: Survey) -> Iterator[Finding]:
    """Yield a warning where the design has more stitches than the profile's fabric bears.

    The text tells whether they are sewn too close, which fixes can mend, or are simply many.
    """
    fabric, count = survey.profile.fabric, len(survey.xy)
    if fabric.stitches_max is None or count <= fabric.stitches_max:
        return
    per_cm2 = count / max(_artwork_cm2(survey), 0.01)
    source = fabric.sources.get("stitches_max", "the profile")
    yield survey.finding(
        NAME,
        WARNING,
        f"{count:,} stitches, and {fabric.title} bears {fabric.stitches_max:,} ({source}): "
        f"{per_cm2:.0f} to the cm2 of artwork, "
        + (
            f"more than the {MUCH_PER_CM2:.0f} usual for a whole logo; "
            "taking surplus stitching out helps."
            if per_cm2 > MUCH_PER_CM2
            else "no more than usual; a smaller design or a firmer backing helps."
        ),
        at=survey.xy,
    )


def _artwork_cm2(survey: Survey) -> float:
    """Area that the visible objects cover together."""
    import shapely

    area: float = shapely.union_all(list(survey.outlines.values())).area / 100.0
    return area

"""Columns too narrow to sew clean, or too wide to hold."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from restitch.check.survey import WARNING, Survey
from restitch.geometry.small import median
from restitch.model import Finding, Kind

NARROW, WIDE = "column too narrow", "column too wide"

FLOOR_MM = 0.8
"""Narrowest column of the skilled (Printwear, May 2019)."""
FILL_FROM_MM = 12.0
"""Over this a fill is better than any satin, split or not (Printwear, May 2019: 10 to 12 mm)."""
SLACK_MM = 0.05
"""Half the file's step: a width on the limit is not over it."""


def find(survey: Survey) -> Iterator[Finding]:
    """Yield a warning for each satin column outside the profile's widths.

    Wide columns that `lengths` splits are told of as stitches too long, not here.
    """
    limits = survey.profile.limits
    for id_, rungs in survey.ladders.items():
        obj = survey.by_id[id_]
        if obj.kind is not Kind.SATIN or obj.open:
            continue
        width = rungs.width_mm
        if width < limits.satin_warn_under_mm - SLACK_MM:
            worse = f", below even {FLOOR_MM:g} mm" if width < FLOOR_MM - SLACK_MM else ""
            yield survey.finding(
                NARROW,
                WARNING,
                f"A column is {width:.1f} mm wide (under "
                f"{limits.satin_warn_under_mm:g} mm{worse}): its holes crowd; a running line or a "
                "wider stroke sews better.",
                objects=(id_,),
            )
        elif width > FILL_FROM_MM + SLACK_MM:
            yield survey.finding(
                WIDE,
                WARNING,
                f"A satin is {width:.1f} mm wide: over {FILL_FROM_MM:g} mm a fill holds better.",
                objects=(id_,),
            )
        elif _unsplit(rungs.holes_inside) and (
            limits.satin_warn_over_mm + SLACK_MM < width <= limits.satin_split_over_mm
        ):
            yield survey.finding(
                WIDE,
                WARNING,
                f"A satin is {width:.1f} mm wide and not split (over "
                f"{limits.satin_warn_over_mm:g} mm snags on clothing).",
                objects=(id_,),
            )


def _unsplit(holes_inside: np.ndarray) -> bool:
    return median(holes_inside) == 0

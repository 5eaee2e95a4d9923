"""Stitches too short to form, too short to sew safely, or too long to hold."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from restitch.check.judge_lengths import beyond_limits, kept_points, longest_mm, sewn_mm
from restitch.check.survey import FAULT, NOTE, ROLES, Survey
from restitch.fabrics.trade import cloth_between_holes_mm, smallest_needle
from restitch.geometry.small import median
from restitch.model import Finding, PlannedObject, Role

SHORT, UNSAFE, LONG = "stitch too short", "stitch under the safe length", "stitch too long"

NOTE_FROM_SHARE = 0.02
"""Stitches under the safe length are worth a note from this share of the design. Our choice."""


def find(survey: Survey) -> Iterator[Finding]:
    """Yield faults by object for short and long stitches, one note for those barely long enough."""
    for obj in beyond_limits(survey.visible, survey.profile.limits):
        yield from _short(survey, obj)
        yield from _long(survey, obj)
    yield from _unsafe(survey)


def _short(survey: Survey, obj: PlannedObject) -> Iterator[Finding]:
    limits = survey.profile.limits
    masks = kept_points(obj, limits)
    count = sum(int(np.count_nonzero(~kept)) for kept in masks)
    if count:
        yield survey.finding(
            SHORT,
            FAULT,
            f"{_stitches(count)} under {limits.shortest_stitch_mm:g} mm: too short to form, the "
            "needle hits its own hole.",
            objects=(obj.id,),
            at=np.concatenate([p.xy[~k] for p, k in zip(obj.pieces, masks, strict=True)]),
            stitches=count,
            fix="lengths",
        )


def _long(survey: Survey, obj: PlannedObject) -> Iterator[Finding]:
    ends, count, most_mm, limit_mm = [], 0, 0.0, 0.0
    for piece in obj.pieces:
        lengths = sewn_mm(piece.xy)
        allowed = longest_mm(obj, piece, survey.profile.limits)
        over = lengths > allowed
        if over.any():
            ends += [piece.xy[:-1][over], piece.xy[1:][over]]
            count += int(over.sum())
            most_mm, limit_mm = max(most_mm, float(lengths.max())), allowed
    if count:
        yield survey.finding(
            LONG,
            FAULT,
            f"{_stitches(count)} of a {obj.kind} over {limit_mm:g} mm, up to {most_mm:.1f} mm: "
            "long threads snag and float.",
            objects=(obj.id,),
            at=np.concatenate(ends),
            fix="lengths",
        )


def _unsafe(survey: Survey) -> Iterator[Finding]:
    limits = survey.profile.limits
    body = (survey.role == ROLES.index(Role.TOP)) & (survey.layer == 0) & survey.sewn
    between = body & (survey.step_mm < limits.safe_stitch_mm)
    between &= survey.step_mm >= limits.shortest_stitch_mm
    count = int(np.count_nonzero(between))
    if not count or count < NOTE_FROM_SHARE * len(survey.xy):
        return
    said = f"{count} stitches lie under the safe {limits.safe_stitch_mm:g} mm"
    needle = smallest_needle(survey.profile.fabric.needle)
    if needle:
        left = cloth_between_holes_mm(median(survey.step_mm[between]), needle)
        said += f"; in the middle of them a {needle} needle leaves {max(left, 0.0):.2f} mm of cloth"
    yield survey.finding(UNSAFE, NOTE, f"{said}.", at=survey.xy[between])


def _stitches(count: int) -> str:
    return "One stitch" if count == 1 else f"{count} stitches"

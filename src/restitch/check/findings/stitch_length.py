"""Stitches too short to form, too short to sew safely, or too long to hold."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from restitch.check.survey import FAULT, NO_OBJECT, NOTE, ROLES, Survey
from restitch.fabrics.trade import cloth_between_holes_mm, smallest_needle
from restitch.model import BoolArray, Finding, Kind, Role

SHORT, UNSAFE, LONG = "stitch too short", "stitch under the safe length", "stitch too long"

SLACK_MM = 1e-4
"""Float slack: lengths on the 0.1 mm grid differ by more than this from any limit on it."""
SPLIT_SLACK_MM = 0.05
"""Half the file's step: rounding alone does not make a stitch snag."""
NOTE_FROM_SHARE = 0.02
"""Stitches under the safe length are worth a note from this share of the design. Our choice."""


def find(survey: Survey) -> Iterator[Finding]:
    """Yield faults by object for short and long stitches, one note for those barely long enough."""
    limits = survey.profile.limits
    short = survey.sewn & (survey.step_mm < limits.shortest_stitch_mm - SLACK_MM)
    for obj, at in by_object(survey, short):
        yield survey.finding(
            SHORT,
            FAULT,
            f"{_stitches(at)} under {limits.shortest_stitch_mm:g} mm: too short to form, the "
            "needle hits its own hole.",
            objects=obj,
            at=survey.xy[at],
            stitches=len(at),
            fix="lengths",
        )
    yield from _long(survey)
    yield from _unsafe(survey)


def _long(survey: Survey) -> Iterator[Finding]:
    limits = survey.profile.limits
    over = survey.sewn & (survey.step_mm > limits.longest_stitch_mm + SLACK_MM)
    top = (survey.role == ROLES.index(Role.TOP)) & (survey.layer == 0)
    kind_limits = {Kind.SATIN: limits.satin_split_over_mm, Kind.FILL: limits.fill_stitch_over_mm}
    for kind, limit_mm in kind_limits.items():
        ids = np.array([o.id for o in survey.objects if o.kind is kind and not o.open], np.int32)
        mine = np.isin(survey.owner, ids)
        over |= mine & top & survey.sewn & (survey.step_mm > limit_mm + SPLIT_SLACK_MM)
    for obj, at in by_object(survey, over):
        kind = survey.by_id[obj[0]].kind if obj else Kind.RUN
        limit_mm = kind_limits.get(kind, limits.longest_stitch_mm)
        yield survey.finding(
            LONG,
            FAULT,
            f"{_stitches(at)} of a {kind} over {limit_mm:g} mm, up to "
            f"{survey.step_mm[at].max():.1f} mm: they snag and float.",
            objects=obj,
            at=survey.xy[at],
            fix="lengths",
        )


def _unsafe(survey: Survey) -> Iterator[Finding]:
    limits = survey.profile.limits
    body = (survey.role == ROLES.index(Role.TOP)) & (survey.layer == 0) & survey.sewn
    between = body & (survey.step_mm < limits.safe_stitch_mm - SLACK_MM)
    between &= survey.step_mm >= limits.shortest_stitch_mm - SLACK_MM
    count = int(np.count_nonzero(between))
    if not count or count < NOTE_FROM_SHARE * len(survey.xy):
        return
    needle = smallest_needle(survey.profile.fabric.needle)
    shortest = float(survey.step_mm[between].min())
    left = cloth_between_holes_mm(shortest, needle) if needle else 0.0
    tail = f"; at {shortest:.1f} mm a {needle} needle leaves {max(left, 0.0):.2f} mm of cloth."
    yield survey.finding(
        UNSAFE,
        NOTE,
        f"{count} stitches lie under the safe {limits.safe_stitch_mm:g} mm"
        + (tail if needle else "."),
        at=survey.xy[between],
        stitches=0,
    )


def by_object(
    survey: Survey, chosen: BoolArray
) -> Iterator[tuple[tuple[int, ...], NDArray[np.intp]]]:
    """Yield (object id, or nothing for stitching of none) and its chosen needle points."""
    at = np.flatnonzero(chosen)
    order = at[np.argsort(survey.owner[at], kind="stable")]
    ids, first = np.unique(survey.owner[order], return_index=True)
    for obj, group in zip(ids.tolist(), np.split(order, first[1:]), strict=False):
        yield (() if obj == NO_OBJECT else (obj,)), group


def _stitches(at: NDArray[np.intp]) -> str:
    return "One stitch" if len(at) == 1 else f"{len(at)} stitches"

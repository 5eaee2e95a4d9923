"""Needle pile-ups: one hole pierced again and again cuts the cloth and breaks thread."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from restitch.check.survey import FAULT, NO_OBJECT, NOTE, Survey
from restitch.model import Finding, IntArray, Kind

NAME = "needle pile-up"

OWN_VISITS = 3
"""An object adds to a pile-up from its third visit to the hole: the first two are where a column
turns or a loop closes. Our choice."""


def find(survey: Survey) -> Iterator[Finding]:
    """Yield a fault for each object that keeps piercing one hole, a note for those left.

    Runs are left alone: bean and double runs pierce their holes again on purpose. Holes in which
    several objects happen to meet are only noted.
    """
    limit = survey.profile.limits.pile_up
    points, hole = crowded(survey.xy, limit)
    owner = survey.owner[points]
    runs = [o.id for o in survey.objects if o.kind is Kind.RUN]
    curable = (owner != NO_OBJECT) & ~np.isin(owner, runs)
    _, group, visits = np.unique(
        hole.astype(np.int64) << 32 | (owner.astype(np.int64) + 1),
        return_inverse=True,
        return_counts=True,
    )
    own = visits[group]
    curable &= own >= OWN_VISITS
    for obj in np.unique(owner[curable]).tolist():
        mine = curable & (owner == obj)
        _, first = np.unique(hole[mine], return_index=True)
        times = own[mine][first]
        yield survey.finding(
            NAME,
            FAULT,
            f"{_holes(len(times))} pierced up to {np.bincount(hole)[hole[mine]].max()} times "
            f"(limit {limit}): the cloth is cut there.",
            objects=(obj,),
            at=survey.xy[points[mine]],
            stitches=int((times - OWN_VISITS + 1).sum()),
            fix="lengths",
        )
    left = np.setdiff1d(hole, hole[curable])
    if len(left):
        yield survey.finding(
            NAME,
            NOTE,
            f"{_holes(len(left))} pierced over {limit} times where lines meet or repeat.",
            at=survey.xy[points[np.isin(hole, left)]],
        )


def crowded(xy: IntArray, limit: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the needle points in holes pierced more than ``limit`` times, and their hole's number.

    ``xy`` is (k, 2) needle points in 0.1 mm; holes are numbered from 0.
    """
    key = (xy[:, 0].astype(np.int64) << 32) + xy[:, 1]
    _, hole, count = np.unique(key, return_inverse=True, return_counts=True)
    points = np.flatnonzero(count[hole] > limit)
    _, number = np.unique(hole[points], return_inverse=True)
    return points, number


def _holes(count: int) -> str:
    return "One hole is" if count == 1 else f"{count} holes are"

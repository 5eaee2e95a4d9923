"""Needle pile-ups: one hole pierced again and again cuts the cloth and breaks thread."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from restitch.check.judge_lengths import piled_points
from restitch.check.survey import FAULT, NOTE, Survey
from restitch.model import Finding, IntArray

NAME = "needle pile-up"


def find(survey: Survey) -> Iterator[Finding]:
    """Yield a fault for each object that keeps piercing one hole, a note for the holes left.

    Runs are left alone: bean and double runs pierce their holes again on purpose. Holes in which
    several objects happen to meet are only noted.
    """
    limit = survey.profile.limits.pile_up
    holes, visits = crowded_holes(survey.xy, limit)
    if not len(holes):
        return
    left = np.ones(len(holes), bool)
    for id_, masks in sorted(piled_points(survey.visible, survey.profile.limits).items()):
        pieces = survey.planned[id_].pieces
        extra = np.concatenate([p.xy[m] for p, m in zip(pieces, masks, strict=True)])
        mine = np.isin(_keys(holes), _keys(extra))
        if not mine.any():
            continue
        left &= ~mine
        yield survey.finding(
            NAME,
            FAULT,
            f"{_holes(int(mine.sum()))} pierced up to {visits[mine].max()} times (limit {limit}): "
            "the cloth is cut there.",
            objects=(id_,),
            at=extra,
            stitches=len(extra),
            fix="lengths",
        )
    if left.any():
        yield survey.finding(
            NAME,
            NOTE,
            f"{_holes(int(left.sum()))} pierced over {limit} times where lines meet or repeat.",
            at=holes[left],
        )


def crowded_holes(xy: IntArray, limit: int) -> tuple[IntArray, NDArray[np.intp]]:
    """Return the holes pierced more than ``limit`` times as (h, 2), and how often each is."""
    _, first, count = np.unique(_keys(xy), return_index=True, return_counts=True)
    return xy[first[count > limit]], count[count > limit]


def _keys(xy: IntArray) -> NDArray[np.int64]:
    """(k,) one number for each place."""
    keys: NDArray[np.int64] = (xy[:, 0].astype(np.int64) << 32) + xy[:, 1]
    return keys


def _holes(count: int) -> str:
    return "One hole is" if count == 1 else f"{count} holes are"

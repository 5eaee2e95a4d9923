"""What every pass is given besides the plan, and the helpers they share to report a change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np

from restitch.fabrics.model import Profile
from restitch.model import (
    UNITS_PER_MM,
    Change,
    FloatArray,
    IntArray,
    PlannedObject,
    SewnObject,
    State,
    Stream,
)

Plan: TypeAlias = tuple[PlannedObject, ...]
PassResult: TypeAlias = tuple[Plan, tuple[Change, ...]]


@dataclass(frozen=True, eq=False)
class Context:
    """Settings and source of one fix run; a pass reads it and keeps nothing."""

    profile: Profile
    source: Stream
    objects: Mapping[int, SewnObject]
    """Objects as read, by id."""
    vetoed: frozenset[str] = frozenset()
    """Ids of changes the user does not want (or the guard has withdrawn)."""
    kept_pairs: frozenset[tuple[int, int]] = frozenset()
    """Ids (lower, upper) that the guard has seen trade places: their order stays."""
    held: frozenset[int] = frozenset()
    """Ids of objects whose ends the guard wants left alone: new ends showed on bare cloth."""

    @cached_property
    def centre_mm(self) -> FloatArray:
        """(2,) centre of the source's needle points in file millimetres."""
        points = self.source.xy[self.source.stitch_index]
        centre: FloatArray = (points.min(axis=0) + points.max(axis=0)) / (2.0 * UNITS_PER_MM)
        return centre

    def state_of(self, change_id: str) -> State:
        """`State.VETOED` where the user (or the guard) said no, else `State.APPLIED`."""
        return State.VETOED if change_id in self.vetoed else State.APPLIED

    def place_of(
        self, points: IntArray
    ) -> tuple[tuple[float, float], tuple[float, float, float, float]]:
        """Centre and box of needle points (0.1 mm) in millimetres from the design's centre."""
        relative = points / float(UNITS_PER_MM) - self.centre_mm
        low, high = np.round(relative.min(axis=0), 1), np.round(relative.max(axis=0), 1)
        middle = np.round((low + high) / 2, 1)
        return (
            (float(middle[0]), float(middle[1])),
            (float(low[0]), float(low[1]), float(high[0]), float(high[1])),
        )


def change_id(fix: str, obj: PlannedObject) -> str:
    """Stable id of a fix on an object: the fix and the object's first record in the source."""
    return f"{fix}-{obj.first_record}"

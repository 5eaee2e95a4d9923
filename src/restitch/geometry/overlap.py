"""Which objects overlap for the eye: real overlap of shapes, never mere touching."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from restitch.model import Kind, PlannedObject

if TYPE_CHECKING:
    from shapely import Geometry

Pair = tuple[int, int]
"""Two places in a plan."""


class OverlapLimits(NamedTuple):
    """What counts as overlap. Our choice, measured: smaller overlaps cost needless colour changes,
    and nothing of them can be seen."""

    overlap_mm2: float = 0.15
    shrink_mm: float = 0.15
    same_thread_share: float = 0.3
    """Objects of one thread and different kinds keep their order above this share of the lesser
    one: the order decides which way the thread lies there."""


def overlaps(
    plan: Sequence[PlannedObject],
    outlines: Sequence[Geometry],
    limits: OverlapLimits | None = None,
) -> tuple[Pair, ...]:
    """Return the pairs (i, j), i < j, of places in the plan whose shapes overlap for the eye."""
    import shapely

    limits = limits or OverlapLimits()
    shapes = np.array(outlines, dtype=object)
    areas = shapely.area(shapes)
    runs = np.array([o.kind is Kind.RUN for o in plan])
    inner = np.where(runs, shapes, shapely.buffer(shapes, -limits.shrink_mm, quad_segs=2))
    near = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    i, j = near[:, near[0] < near[1]]
    # the larger of the two is shrunk: shrinking a thin line would lose it
    large, small = np.where(areas[i] >= areas[j], (i, j), (j, i))
    shared = shapely.area(shapely.intersection(inner[large], shapes[small]))
    thread = np.array([o.thread for o in plan], dtype=int)
    kind = np.array([list(Kind).index(o.kind) for o in plan], dtype=int)
    counts = np.where(
        thread[i] != thread[j],
        shared >= limits.overlap_mm2,
        (kind[i] != kind[j]) & (shared > limits.same_thread_share * np.maximum(areas[small], 1e-9)),
    )
    pairs = np.stack([i, j], axis=1)[counts]
    return tuple(sorted((int(a), int(b)) for a, b in pairs))

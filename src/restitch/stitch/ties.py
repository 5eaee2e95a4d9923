"""Ties: three short stitches that lock the thread, hidden inside the object."""

from __future__ import annotations

import numpy as np

from restitch.geometry.small import lengths_mm
from restitch.model import UNITS_PER_MM, FloatArray, IntArray
from restitch.stitch.lines import at_distance

REACH_MM = 0.8
"""How far a tie goes into the object. Our choice within common practice: 0.5 to 1.0."""
BACK_MM = 0.4
"""Distance of the tie's second hole from the end."""
ASIDE_MM = 0.26
"""How far the second hole steps aside, so that no two stitches of a tie share a hole. With these
three figures every stitch is 0.47 to 0.8 mm long."""


def tie_in(body: IntArray) -> IntArray:
    """Return the tie (3, 2) to sew before stitching that begins at ``body[0]`` (0.1 mm).

    The needle starts at ``body[0]``, goes into the object and comes back: sew ``tie`` and then
    ``body`` from its first point on, which closes the third stitch of the tie.
    """
    return _lock(np.asarray(body, np.float64) / UNITS_PER_MM)[:3]


def tie_off(body: IntArray) -> IntArray:
    """Return the tie (3, 2) to sew after stitching that ends at ``body[-1]`` (0.1 mm).

    It goes back along the last stitches and finishes on the end itself, so that the tie
    lengthens no jump.
    """
    return _lock(np.asarray(body, np.float64)[::-1] / UNITS_PER_MM)[1:]


def _lock(inward_mm: FloatArray) -> IntArray:
    """(4, 2) end, reach, back and aside, end."""
    end = inward_mm[0]
    ahead = inward_mm[: _enough(inward_mm)]
    reach = at_distance(ahead, np.array([REACH_MM]))[0] if len(ahead) > 1 else end
    way = reach - end
    length = float(np.hypot(*way))
    # a point, or stitching that returns at once: any direction will do
    along = way / length if length > BACK_MM / 2 else np.array([1.0, 0.0])
    aside = np.array([-along[1], along[0]])
    back = end + along * BACK_MM + aside * ASIDE_MM
    lock: IntArray = np.rint(
        np.stack([end, end + along * REACH_MM, back, end]) * UNITS_PER_MM
    ).astype(np.int32)
    return lock


def _enough(inward_mm: FloatArray) -> int:
    """Number of points that hold the reach of a tie."""
    if len(inward_mm) < 2:
        return len(inward_mm)
    far = np.flatnonzero(np.cumsum(lengths_mm(inward_mm[:12])) >= REACH_MM)
    return int(far[0]) + 2 if len(far) else min(len(inward_mm), 12)

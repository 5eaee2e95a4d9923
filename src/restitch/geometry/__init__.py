"""What stitching looks like as shapes: ladders with rails and spacing, outlines as polygons."""

from restitch.geometry.ladder import (
    KEPT,
    IndexArray,
    Ladder,
    ladder,
    ladder_of,
    smoothed,
    spaced_points,
)
from restitch.geometry.outline import outline, outline_of, trace

__all__ = [
    "KEPT",
    "IndexArray",
    "Ladder",
    "ladder",
    "ladder_of",
    "outline",
    "outline_of",
    "smoothed",
    "spaced_points",
    "trace",
]

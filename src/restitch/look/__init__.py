"""How a design looks: what shows, how high thread stacks, and whether a change kept it.

`frame_around` gives the raster, `paint` the visible picture, `stack_height` the layers, `compare`
the figures of two pictures and `judge` the guard's verdict on each object.
"""

from restitch.look.colour import ciede2000, classes_of_blocks, colour_classes_of
from restitch.look.compare import (
    CompareSettings,
    Comparison,
    agreement,
    compare,
    cover,
    gap,
)
from restitch.look.frame import Frame, frame_around
from restitch.look.guard import Verdict, judge
from restitch.look.laid import NOT_JUDGED
from restitch.look.limits import GuardLimits
from restitch.look.picture import Picture, RasterSettings, paint, visible_mm2
from restitch.look.stack import StackMap, StackSettings, stack_height

__all__ = [
    "NOT_JUDGED",
    "CompareSettings",
    "Comparison",
    "Frame",
    "GuardLimits",
    "Picture",
    "RasterSettings",
    "StackMap",
    "StackSettings",
    "Verdict",
    "agreement",
    "ciede2000",
    "classes_of_blocks",
    "colour_classes_of",
    "compare",
    "cover",
    "frame_around",
    "gap",
    "judge",
    "paint",
    "stack_height",
    "visible_mm2",
]

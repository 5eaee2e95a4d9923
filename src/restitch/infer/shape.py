"""The shape of one object, as a digitizer would have drawn it before it was stitched."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from restitch.infer.figures import sewn_steps, visible_stretches
from restitch.model import UNITS_PER_MM, FloatArray, Kind, Piece, Role, SewnObject, Stream

if TYPE_CHECKING:
    from shapely import Geometry


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """What was drawn, in millimetres of the file's own frame; None where a kind has no such thing.

    Only the stitching meant to be seen counts, without surplus layers.
    """

    outline: Geometry
    """Polygon or polygons covered, holes left open."""
    rails_mm: tuple[FloatArray, FloatArray] | None = None
    """A satin's two sides, (k, 2) each, walked side by side."""
    widths_mm: FloatArray | None = None
    """(k,) length of a satin's strokes along it: its width profile."""
    path_mm: FloatArray | None = None
    """(k, 2) needle points of a run once along, however often it was sewn over."""


def shape_of(stream: Stream, obj: SewnObject) -> Shape:
    """The outline of an object with its rails and width profile (satin) or its path (run)."""
    from restitch.geometry import ladder
    from restitch.geometry.outline import outline_of

    stretches = visible_stretches(stream, obj)
    units = [np.rint(xy * UNITS_PER_MM).astype(np.int32) for xy in stretches]
    outline = outline_of(tuple(Piece(Role.TOP, xy) for xy in units), obj.kind)
    if not units or obj.kind is Kind.FILL:
        return Shape(outline)
    if obj.kind is Kind.RUN:
        return Shape(outline, path_mm=_path(stretches))
    rungs = max((ladder(xy) for xy in units), key=len)
    return Shape(outline, rails_mm=rungs.rails_mm, widths_mm=rungs.widths_mm)


def _path(stretches: list[FloatArray]) -> FloatArray:
    """The steps of a run in the order and direction in which each was first sewn."""
    steps, key = sewn_steps(stretches)
    if not len(steps):
        return stretches[0][:1]
    _, first = np.unique(key, axis=0, return_index=True)
    once = steps[np.sort(first)]
    path: FloatArray = np.concatenate([once[:1, 0], once[:, 1]])
    return path

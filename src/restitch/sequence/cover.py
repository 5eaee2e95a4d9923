"""Which later stitching hides a way: a raster of the last object to cover each spot."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from restitch.model import BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    from shapely import Geometry

NOTHING = -1
"""Order of the last cover where nothing covers."""


class CoverLimits(NamedTuple):
    """How sure a cover must be. Our choice, measured with the visible-thread raster."""

    cell_mm: float = 0.2
    margin_mm: float = 0.4
    """A way stays this far inside what covers it."""


class Cover(NamedTuple):
    """What each object covers, on a grid over the design."""

    origin_mm: FloatArray
    cell_mm: float
    shape: tuple[int, int]
    masks: tuple[tuple[int, int, BoolArray] | None, ...]
    """For each object the first row and column of its window and the cells it covers there."""

    def last(self, order: Iterable[int]) -> IntArray:
        """(rows, columns) place in the order of the last object that covers each cell."""
        grid = np.full(self.shape, NOTHING, np.int32)
        for place, index in enumerate(order):
            mask = self.masks[index]
            if mask is not None:
                row, column, cells = mask
                height, width = cells.shape
                grid[row : row + height, column : column + width][cells] = place
        return grid

    def cells_of(self, points_mm: FloatArray) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Rows and columns of points (..., 2); points outside fall on the empty rim."""
        at = np.floor((points_mm - self.origin_mm) / self.cell_mm).astype(np.intp)
        return (
            np.clip(at[..., 1], 0, self.shape[0] - 1),
            np.clip(at[..., 0], 0, self.shape[1] - 1),
        )


def cover_of(
    outlines: Sequence[Geometry], closed: Sequence[bool], limits: CoverLimits | None = None
) -> Cover:
    """Return the cover of objects by their outlines (mm); only ``closed`` ones cover anything."""
    import shapely

    limits = limits or CoverLimits()
    inner = shapely.buffer(np.array(outlines, dtype=object), -limits.margin_mm, quad_segs=2)
    inner = [g if c else shapely.Polygon() for g, c in zip(inner, closed, strict=True)]
    filled = [g for g in inner if not g.is_empty]
    if not filled:
        return Cover(np.zeros(2), limits.cell_mm, (1, 1), (None,) * len(inner))
    bounds = np.array([g.bounds for g in filled])
    origin = bounds[:, :2].min(axis=0) - 2 * limits.cell_mm
    size = np.ceil((bounds[:, 2:].max(axis=0) - origin) / limits.cell_mm).astype(int) + 2
    masks = tuple(_mask(g, origin, limits.cell_mm) for g in inner)
    return Cover(origin, limits.cell_mm, (int(size[1]), int(size[0])), masks)


def _mask(
    shape: Geometry, origin_mm: FloatArray, cell_mm: float
) -> tuple[int, int, BoolArray] | None:
    """Cells inside a shape, drawn polygon by polygon."""
    if shape.is_empty:
        return None
    from PIL import Image, ImageDraw

    low = np.floor((np.array(shape.bounds[:2]) - origin_mm) / cell_mm).astype(int)
    high = np.floor((np.array(shape.bounds[2:]) - origin_mm) / cell_mm).astype(int) + 1
    picture = Image.new("L", (int(high[0] - low[0]), int(high[1] - low[1])), 0)
    draw = ImageDraw.Draw(picture)
    base = origin_mm + low * cell_mm

    def ring(coords: object) -> list[float]:
        # cell i spans i..i+1; its centre i + 0.5 is what pillow's pixel i stands for
        found: list[float] = ((np.asarray(coords) - base) / cell_mm - 0.5).ravel().tolist()
        return found

    for polygon in getattr(shape, "geoms", [shape]):
        if polygon.geom_type != "Polygon":
            continue
        draw.polygon(ring(polygon.exterior.coords), fill=1)
        for hole in polygon.interiors:
            draw.polygon(ring(hole.coords), fill=0)
    return int(low[1]), int(low[0]), np.asarray(picture).astype(bool)

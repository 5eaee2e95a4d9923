"""Layers over the fabric's limit: stiff patches, puckers, broken needles."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from restitch.check.survey import FAULT, NO_OBJECT, WARNING, Survey
from restitch.fabrics.model import FIXES
from restitch.geometry.small import distinct
from restitch.look.frame import frame_around
from restitch.look.stack import StackMap, stack_height
from restitch.model import UNITS_PER_MM, Finding, FloatArray, IntArray

NAME = "layers over the limit"

TILE_MM = 2.0
"""Spots are gathered in tiles of this size; the object sewn last in a tile answers for it."""
LEAST_MM2 = 2.0
"""Smaller spots are knots and corners. Our choice: twice the millimetre square of the measure."""


def find(survey: Survey) -> Iterator[Finding]:
    """Yield one finding for each object on top of cloth with more layers than the limit.

    A fault where stitching that a fix takes out lies in the stack, else a warning: artwork that
    overlaps this often cannot be made thinner without changing it.
    """
    if not len(survey.xy):
        return
    limit = survey.profile.layers
    tiles = _Tiles.of(stack_height(survey.stream, frame_around(survey.stream)), limit)
    tile = tiles.at(survey.xy)
    last = np.full(tiles.count, NO_OBJECT, np.int32)
    last[tile] = survey.owner
    cure = _cures(survey, tile, tiles.count)
    over = np.flatnonzero((tiles.over_mm2 > 0) & (last != NO_OBJECT))
    for obj in distinct(last[over]).tolist():
        mine = over[last[over] == obj]
        area = float(tiles.over_mm2[mine].sum())
        if area < LEAST_MM2:
            continue
        peak = float(tiles.peak[mine].max())
        fix = next((FIXES[i] for i in distinct(cure[mine]) if i != NO_CURE), None)
        yield survey.finding(
            NAME,
            FAULT if fix else WARNING,
            f"Up to {peak:.1f} layers of thread over {area:.0f} mm2 (limit {limit:g} on "
            f"{survey.profile.fabric.name})"
            + (", surplus among them." if fix else ": the artwork itself overlaps."),
            objects=(obj,),
            at=tiles.middles(mine),
            layers=peak - limit,
            fix=fix,
        )


NO_CURE = len(FIXES)


def _cures(survey: Survey, tile: NDArray[np.intp], count: int) -> NDArray[np.intp]:
    """(count,) number in `FIXES` of the fix that takes thread out of each tile, or `NO_CURE`."""
    cure = np.full(count, NO_CURE, np.intp)
    for fix, ids in survey.thinned_by.items():
        mine = np.isin(survey.owner, np.array(sorted(ids), np.int32))
        cure[tile[mine]] = np.minimum(cure[tile[mine]], FIXES.index(fix))
    return cure


@dataclass(frozen=True, slots=True, eq=False)
class _Tiles:
    """Area over the limit and highest stack of each tile of the design."""

    stack: StackMap
    over_mm2: FloatArray
    """(t,) area over the limit in each tile."""
    peak: FloatArray
    """(t,) most layers in each tile."""
    columns: int

    @property
    def count(self) -> int:
        return len(self.peak)

    @classmethod
    def of(cls, stack: StackMap, limit: float) -> _Tiles:
        cells = int(TILE_MM * stack.cells_per_mm)
        height, width = stack.layers.shape
        rows, columns = -(-height // cells), -(-width // cells)
        pad = ((0, rows * cells - height), (0, columns * cells - width))
        blocks = np.pad(stack.layers, pad).reshape(rows, cells, columns, cells)
        over = np.count_nonzero(blocks > limit, axis=(1, 3)) / stack.cells_per_mm**2
        return cls(stack, over.ravel(), blocks.max(axis=(1, 3)).ravel(), columns)

    def at(self, xy: IntArray) -> NDArray[np.intp]:
        """(k,) tile of each needle point."""
        cells = int(TILE_MM * self.stack.cells_per_mm)
        place = (self.stack.frame.place(xy) + 0.5) * self.stack.cells_per_mm / UNITS_PER_MM
        tile = place.astype(np.intp) // cells
        return tile[:, 1] * self.columns + tile[:, 0]

    def middles(self, tiles: NDArray[np.intp]) -> IntArray:
        """(n, 2) middle of each tile, 0.1 mm."""
        size = TILE_MM * UNITS_PER_MM
        place = np.stack([tiles % self.columns, tiles // self.columns], axis=1)
        frame = self.stack.frame
        middles: IntArray = (place * size + size / 2 + (frame.x0, frame.y0)).astype(np.int32)
        return middles

"""Where stitching lies, as sets of square cells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from restitch.infer.piece import Piece
from restitch.infer.strokes import Strokes
from restitch.model import BoolArray, FloatArray

CellArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Cells of one size over the whole design, numbered row by row."""

    origin_mm: FloatArray
    size_mm: float
    width: int
    height: int

    @classmethod
    def over(cls, xy_mm: FloatArray, size_mm: float) -> Grid:
        """The grid that holds all points, with a margin of one cell."""
        low = xy_mm.min(axis=0) - size_mm
        span = (xy_mm.max(axis=0) - low) / size_mm
        return cls(low, size_mm, int(span[0]) + 3, int(span[1]) + 3)

    def cell(self, xy_mm: FloatArray) -> CellArray:
        """(k,) number of the cell that each point lies in."""
        at = ((xy_mm - self.origin_mm) / self.size_mm).astype(np.int64)
        cell: CellArray = at[:, 1] * self.width + at[:, 0]
        return cell

    def along(self, start_mm: FloatArray, end_mm: FloatArray, step_mm: float) -> CellArray:
        """Cells of samples along straight lines, with repeats."""
        return self.cell(sample_lines(start_mm, end_mm, step_mm)[0])


def sample_lines(
    start_mm: FloatArray, end_mm: FloatArray, step_mm: float
) -> tuple[FloatArray, NDArray[np.intp]]:
    """Points at most ``step_mm`` apart along straight lines, and the line each belongs to."""
    way = end_mm - start_mm
    count = np.maximum(np.ceil(np.hypot(*way.T) / step_mm).astype(np.intp), 1)
    line = np.repeat(np.arange(len(way)), count)
    place = np.arange(len(line)) - np.repeat(np.cumsum(count) - count, count)
    return start_mm[line] + way[line] * ((place + 0.5) / count[line])[:, None], line


def piece_cells(grid: Grid, strokes: Strokes, pieces: list[Piece], step_mm: float) -> CellArray:
    """Sorted cells that the strokes of some pieces run through."""
    if not pieces:
        return np.zeros(0, np.int64)
    at = np.concatenate([np.arange(p.s0, p.s1) for p in pieces])
    return np.unique(grid.along(strokes.start_mm[at], strokes.end_mm[at], step_mm))


def inside(cells: CellArray, sorted_cells: CellArray) -> BoolArray:
    """(k,) whether each cell is in a sorted set."""
    if not len(sorted_cells):
        return np.zeros(len(cells), bool)
    place = np.minimum(np.searchsorted(sorted_cells, cells), len(sorted_cells) - 1)
    found: BoolArray = sorted_cells[place] == cells
    return found


def overlap(a: CellArray, b: CellArray) -> tuple[float, float]:
    """Share of ``a`` that lies in ``b``, and the other way round."""
    common = float(inside(a, b).sum()) if len(a) <= len(b) else float(inside(b, a).sum())
    return common / max(len(a), 1), common / max(len(b), 1)

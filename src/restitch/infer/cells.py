"""Where stitching lies, as sets of square cells."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from restitch.geometry.small import distinct
from restitch.infer.piece import Piece
from restitch.infer.strokes import Strokes
from restitch.model import BoolArray, FloatArray

CellArray = NDArray[np.int64]


class Grid(NamedTuple):
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

    def cells_of_lines(self, start_mm: FloatArray, end_mm: FloatArray, step_mm: float) -> CellArray:
        """Sorted numbers of the cells that straight lines run through, sampled every step."""
        if not len(start_mm):
            return np.zeros(0, np.int64)
        x, y = (
            ((of_axis - low) / self.size_mm).astype(np.int64)
            for of_axis, low in zip(
                sample_lines(start_mm, end_mm, step_mm), self.origin_mm, strict=True
            )
        )
        left, top = int(x.min()), int(y.min())
        width, height = int(x.max()) - left + 1, int(y.max()) - top + 1
        # a picture of the lines' own box is faster than sorting the samples
        box = np.zeros(width * height, bool)
        box[(y - top) * width + (x - left)] = True
        found = np.flatnonzero(box)
        cell: CellArray = found + (found // width) * (self.width - width)
        return cell + (top * self.width + left)


def sample_lines(start_mm: FloatArray, end_mm: FloatArray, step_mm: float) -> list[FloatArray]:
    """(k,) x and (k,) y of points at most ``step_mm`` apart along straight lines."""
    way = (end_mm - start_mm).T
    count = np.maximum(np.ceil(np.hypot(*way) / step_mm).astype(np.intp), 1)
    stop = count.cumsum()
    share = np.arange(stop[-1]) - (stop - count).repeat(count) + 0.5
    share /= count.repeat(count)
    # axis by axis: numpy is slow along rows of two
    return [
        start.repeat(count) + along.repeat(count) * share
        for start, along in zip(start_mm.T, way, strict=True)
    ]


@dataclass(frozen=True, slots=True, eq=False)
class Coverage:
    """Cells of pieces on one grid; each piece is sampled once."""

    strokes: Strokes
    grid: Grid
    step_mm: float
    dense_mm: float
    """Of ladders whose strokes lie nearer together than this every second one is enough."""
    known: dict[tuple[int, int], CellArray] = field(default_factory=dict)

    def of(self, piece: Piece) -> CellArray:
        """Sorted cells that the strokes of a piece run through."""
        key = (piece.s0, piece.s1)
        if key not in self.known:
            at = slice(piece.s0, piece.s1, self._stride(piece))
            s = self.strokes
            cells = self.grid.cells_of_lines(s.start_mm[at], s.end_mm[at], self.step_mm)
            self.known[key] = cells
        return self.known[key]

    def of_all(self, pieces: list[Piece]) -> CellArray:
        """Sorted cells of several pieces together."""
        if len(pieces) == 1:
            return self.of(pieces[0])
        if not pieces:
            return np.zeros(0, np.int64)
        return distinct(np.concatenate([self.of(p) for p in pieces]))

    def _stride(self, piece: Piece) -> int:
        if piece.strokes < 8:
            return 1
        apart = self.strokes.start_step_mm[piece.s0 : piece.s1 - 2]
        return 2 if float(apart.mean()) < self.dense_mm else 1


def inside(cells: CellArray, sorted_cells: CellArray) -> BoolArray:
    """(k,) whether each cell is in a sorted set."""
    if not len(sorted_cells):
        return np.zeros(len(cells), bool)
    place = np.minimum(np.searchsorted(sorted_cells, cells), len(sorted_cells) - 1)
    found: BoolArray = sorted_cells[place] == cells
    return found


def overlap(a: CellArray, b: CellArray) -> tuple[float, float]:
    """Share of ``a`` that lies in ``b``, and the other way round."""
    if not len(a) or not len(b) or a[0] > b[-1] or b[0] > a[-1]:
        return 0.0, 0.0
    common = float(inside(a, b).sum()) if len(a) <= len(b) else float(inside(b, a).sum())
    return common / len(a), common / len(b)

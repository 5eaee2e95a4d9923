"""Stack height: how many layers of thread lie on each spot.

Thread mm in a centred 1 mm square, over its area, over 5.0: a 40 weight fill or satin at 0.40 mm
spacing has 5.0 mm of thread on each mm2 (two lines of 0.2 mm thread in 0.40 mm; Campbell,
"Density is our destiny"), and that is one layer.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from restitch.look.frame import Frame
from restitch.look.laid import Laid, laid
from restitch.look.picture import BARE, Picture
from restitch.look.sampling import samples, stitches_of
from restitch.model import FloatArray, Stream, read_only


class StackSettings(NamedTuple):
    """How the stack is measured."""

    layer_mm_per_mm2: float = 5.0
    """Thread that makes one layer (derived from thread 0.2 mm wide at 0.40 mm spacing)."""
    peak_percentile: float = 99.5
    """The peak leaves out the highest 0.5 % of the covered area (our choice: single knots)."""
    fine_cells: int = 5
    """Cells to the millimetre (0.2 mm; errors of 0.1 layer, peak within 2 %: measured) ..."""
    coarse_cells: int = 3
    """... and in frames too large for that (0.33 mm; peak within 3 %: measured)."""
    coarse_from_pixels: int = 10_000_000
    """Pixels of a frame from which the coarse cells are used (our choice, for time)."""


_BIN = 0.05
"""Layers in a histogram bin of the per-object percentiles: half the measured error."""
_CHUNK_SAMPLES = 1 << 20


class StackMap(NamedTuple):
    """Layers of thread over a frame."""

    frame: Frame
    layers: NDArray[np.float32]
    """(rows, columns) of cells, layers in the millimetre around each cell's centre."""
    cells_per_mm: int
    settings: StackSettings

    @property
    def centres(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Pixel row of each row of cells, pixel column of each column."""
        rows, columns = (
            np.minimum(((np.arange(cells) + 0.5) * 10 / self.cells_per_mm).astype(np.intp), last)
            for cells, last in zip(self.layers.shape, np.subtract(self.frame.shape, 1), strict=True)
        )
        return rows, columns

    def peak(self, picture: Picture) -> float:
        """Return the 99.5th percentile of layers over the picture's covered area."""
        seen = self._seen(picture)
        if not len(seen):
            return 0.0
        # a value between two would load numpy's masked arrays, for nothing among thousands
        return float(np.percentile(seen, self.settings.peak_percentile, method="nearest"))

    def mean(self, picture: Picture) -> float:
        """Return the mean of layers over the picture's covered area."""
        seen = self._seen(picture)
        return float(seen.mean()) if len(seen) else 0.0

    def _seen(self, picture: Picture) -> NDArray[np.float32]:
        rows, columns = self.centres
        seen: NDArray[np.float32] = self.layers[picture.classes[rows[:, None], columns] != BARE]
        return seen

    def by_object(self, picture: Picture) -> dict[int, tuple[float, float]]:
        """Return (mean, peak) layers over each object's visible pixels: all that lies there, not
        only the object's own thread. Hidden objects have no entry."""
        rows, columns = self.centres
        slot = picture.slots[rows[:, None], columns].ravel()
        owner = np.append(0, picture.thread.owner_of_slot + 2)[slot]
        bins = int(self.layers.max(initial=0.0) / _BIN) + 1
        level = (self.layers.ravel() / _BIN).astype(np.intp)
        seen = owner > 0
        tally = np.bincount(owner[seen] * bins + level[seen])
        tally = np.pad(tally, (0, -len(tally) % bins)).reshape(-1, bins)
        return {
            int(row) - 2: _mean_and_peak(tally[row], self.settings.peak_percentile)
            for row in np.flatnonzero(tally.any(axis=1))
        }


def _mean_and_peak(tally: NDArray[np.intp], percentile: float) -> tuple[float, float]:
    total = np.cumsum(tally)
    mean = float((tally * (np.arange(len(tally)) + 0.5)).sum() / total[-1]) * _BIN
    at = int(np.searchsorted(total, total[-1] * percentile / 100))
    return mean, (at + 0.5) * _BIN


def stack_height(stream: Stream, frame: Frame, settings: StackSettings | None = None) -> StackMap:
    """Return the layers of thread over the frame; jumps and trims lay none."""
    return stack_of(laid(stream), frame, settings)


def stack_of(thread: Laid, frame: Frame, settings: StackSettings | None = None) -> StackMap:
    """As `stack_height`, from thread that is at hand already."""
    settings = settings or StackSettings()
    coarse = frame.width * frame.height > settings.coarse_from_pixels
    per_mm = settings.coarse_cells if coarse else settings.fine_cells
    # a pixel is centred on its whole number, so cloth starts half a pixel before column 0
    where = (frame.place(thread.xy) + 0.5) * (per_mm / 10)
    rows, columns = -(-frame.height * per_mm // 10), -(-frame.width * per_mm // 10)
    length = _thread_in_cells(where, thread, rows, columns)
    length /= per_mm
    layers = _box_sum(length, per_mm // 2)
    layers /= settings.layer_mm_per_mm2
    return StackMap(frame, read_only(layers.astype(np.float32)), per_mm, settings)


def _thread_in_cells(where: FloatArray, thread: Laid, rows: int, columns: int) -> FloatArray:
    """Return the thread in each cell, in cell widths; one sample a cell width."""
    stitches = stitches_of(where, thread.sewn, thread.slot)
    total = np.zeros(rows * columns)
    cells: list[NDArray[np.int32]] = []
    weights: list[NDArray[np.float32]] = []
    held = 0

    def add() -> None:
        total[:] += np.bincount(
            np.concatenate(cells), weights=np.concatenate(weights), minlength=len(total)
        )

    for part in samples(stitches, step=1.0):
        cell = part.y.astype(np.int32) * columns + part.x.astype(np.int32)
        share = (stitches.length[part.stitch] / cell.shape[1]).astype(np.float32)
        cells.append(cell.ravel())
        weights.append(np.repeat(share, cell.shape[1]))
        held += cell.size
        if held > _CHUNK_SAMPLES:
            add()
            cells.clear()
            weights.clear()
            held = 0
    if held:
        add()
    return total.reshape(rows, columns)


def _box_sum(grid: FloatArray, reach: int) -> FloatArray:
    """Return the sum over the square of ``2 reach + 1`` cells around each cell."""
    size = 2 * reach + 1
    total = np.pad(grid, ((reach + 1, reach), (reach + 1, reach)))
    # in place: the grid of a large design is tens of megabytes
    np.cumsum(total, axis=0, out=total)
    np.cumsum(total, axis=1, out=total)
    box: FloatArray = total[size:, size:] - total[:-size, size:]
    box -= total[size:, :-size]
    box += total[:-size, :-size]
    return box

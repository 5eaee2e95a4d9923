"""Hidden ways with bends: round a counter or along a curve, always under later cover."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from restitch.geometry import IndexArray
from restitch.geometry.small import lengths_mm
from restitch.model import BoolArray, FloatArray
from restitch.sequence.cover import Cover
from restitch.sequence.links import SAMPLE_MM, Linker

_STEPS = ((0, 1), (1, 0), (0, -1), (-1, 0), (1, 1), (1, -1), (-1, 1), (-1, -1))
"""Neighbours of a cell, straight ones first."""
_ANGLE = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
_CIRCLE = np.stack([np.cos(_ANGLE), np.sin(_ANGLE)], axis=1)


def bent_ways(
    linker: Linker, begin_mm: FloatArray, end_mm: FloatArray, place: IndexArray
) -> list[FloatArray | None]:
    """Return for each of (n, 2) pairs of spots a way (k, 2) from one to the other, both included,
    or None.

    It lies under what is sewn at its ``place`` (n,) of the order or later, with the cover's margin,
    but for the free bit at either end, and is no longer than a hidden way may be. The shortest on
    the cover's grid, its corners cut as far as the cover reaches.
    """
    reached = _reach_cover(linker, begin_mm, end_mm, place).tolist()
    ends = zip(reached, begin_mm, end_mm, place.tolist(), strict=True)
    return [_bent_way(linker, a, b, at) if touches else None for touches, a, b, at in ends]


def _bent_way(
    linker: Linker, begin_mm: FloatArray, end_mm: FloatArray, place: int
) -> FloatArray | None:
    settings = linker.rules.settings
    cover, reach_mm = linker.cover, settings.bend_to_mm
    gap_mm = float(np.hypot(*(end_mm - begin_mm)))
    margin_mm = (reach_mm - gap_mm) / 2
    low = np.minimum(begin_mm, end_mm) - margin_mm
    high = np.maximum(begin_mm, end_mm) + margin_mm
    (r0, r1), (c0, c1) = cover.cells_of(np.stack([low, high]))
    window = linker.last[r0 : r1 + 1, c0 : c1 + 1] >= place
    rows, columns = np.indices(window.shape)
    spots = np.stack([columns + c0 + 0.5, rows + r0 + 0.5], axis=2) * cover.cell_mm
    spots = spots + cover.origin_mm
    free_mm = min(settings.travel_free_mm, settings.travel_free_share * gap_mm)
    for spot in (begin_mm, end_mm):
        window |= np.hypot(*np.moveaxis(spots - spot, 2, 0)) <= free_mm
    start, goal = (_cell(cover, spot, r0, c0) for spot in (begin_mm, end_mm))
    cells = _shortest(window, start, goal, int(reach_mm / cover.cell_mm))
    if cells is None:
        return None
    path = np.vstack([begin_mm, spots[cells[1:-1, 0], cells[1:-1, 1]], end_mm])
    way = _straightened(path, window, cover, r0, c0)
    return way if float(lengths_mm(way).sum()) <= reach_mm else None


def _reach_cover(
    linker: Linker, begin_mm: FloatArray, end_mm: FloatArray, place: IndexArray
) -> BoolArray:
    """(n,) whether what is sewn at ``place`` or later covers some of the rim of the free bit at
    either end: else there is no way."""
    reach_mm = linker.rules.settings.travel_free_mm + linker.cover.cell_mm
    rings = np.stack([begin_mm, end_mm], axis=1)[:, :, None] + reach_mm * _CIRCLE
    covered = linker.last[linker.cover.cells_of(rings)] >= place[:, None, None]
    reached: BoolArray = np.logical_or.reduce(covered, axis=2).all(axis=1)
    return reached


def _cell(cover: Cover, spot_mm: FloatArray, r0: int, c0: int) -> tuple[int, int]:
    row, column = cover.cells_of(spot_mm)
    return int(row) - r0, int(column) - c0


def _shortest(
    open_cells: BoolArray, start: tuple[int, int], goal: tuple[int, int], most: int
) -> NDArray[np.intp] | None:
    """(k, 2) cells from start to goal over open cells in at most that many steps, or None.

    A wave runs from the goal, one ring of cells a step; the way back follows falling numbers.
    """
    height, width = open_cells.shape
    inside = all(0 <= row < height and 0 <= column < width for row, column in (start, goal))
    if not inside:
        return None
    number = np.full(open_cells.shape, -1, np.int32)
    wave = np.zeros(open_cells.shape, bool)
    wave[goal] = True
    number[goal] = 0
    for step in range(1, most + 1):
        grown = wave.copy()
        grown[1:] |= wave[:-1]
        grown[:-1] |= wave[1:]
        wide = grown.copy()
        wide[:, 1:] |= grown[:, :-1]
        wide[:, :-1] |= grown[:, 1:]
        wave = wide & open_cells & (number < 0)
        if not wave.any():
            return None
        number[wave] = step
        if number[start] >= 0:
            break
    else:
        return None
    cells = [start]
    while cells[-1] != goal:
        row, column = cells[-1]
        near = [(row + a, column + b) for a, b in _STEPS]
        cells.append(
            next(
                c
                for c in near
                if 0 <= c[0] < height and 0 <= c[1] < width and number[c] == number[row, column] - 1
            )
        )
    return np.array(cells)


def _straightened(
    path_mm: FloatArray, open_cells: BoolArray, cover: Cover, r0: int, c0: int
) -> FloatArray:
    """The way with every corner left out that straight bits over open cells do not need."""
    kept = [0]
    while kept[-1] < len(path_mm) - 1:
        here = kept[-1]
        bits = path_mm[here + 1 :] - path_mm[here]
        count = (np.hypot(*bits.T) / SAMPLE_MM).astype(np.intp) + 1
        share = np.minimum(np.arange(count.max() + 1) * (1.0 / count)[:, None], 1.0)
        rows, columns = cover.cells_of(path_mm[here] + share[:, :, None] * bits[:, None])
        is_open = np.logical_and.reduce(open_cells[rows - r0, columns - c0], axis=1)
        is_open[0] = True  # the next cell of the way is reached anyhow
        kept.append(here + 1 + int(np.flatnonzero(is_open)[-1]))
    return path_mm[kept]

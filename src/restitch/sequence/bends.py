"""Hidden ways with bends: round a counter or along a curve, always under later cover."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from restitch.geometry.small import lengths_mm
from restitch.model import BoolArray, FloatArray
from restitch.sequence.cover import Cover
from restitch.sequence.links import SAMPLE_MM, Linker

_STEPS = ((0, 1), (1, 0), (0, -1), (-1, 0), (1, 1), (1, -1), (-1, 1), (-1, -1))
"""Neighbours of a cell, straight ones first."""
_ANGLE = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
_CIRCLE = np.stack([np.cos(_ANGLE), np.sin(_ANGLE)], axis=1)


def bent_way(
    linker: Linker, begin_mm: FloatArray, end_mm: FloatArray, place: int
) -> FloatArray | None:
    """Return a way (k, 2) from one spot to another, both included, or None.

    It lies under what is sewn at ``place`` of the order or later, with the cover's margin, but for
    the free bit at either end, and is no longer than a hidden way may be. The shortest on the
    cover's grid, its corners cut as far as the cover reaches.
    """
    settings = linker.rules.settings
    cover, reach_mm = linker.cover, settings.bend_to_mm
    if not _touch_cover(linker, np.stack([begin_mm, end_mm]), place):
        return None
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


def _touch_cover(linker: Linker, spots_mm: FloatArray, place: int) -> bool:
    """Whether anything sewn at a place or later covers some of the rim of each spot's free bit."""
    reach_mm = linker.rules.settings.travel_free_mm + linker.cover.cell_mm
    rings = spots_mm[:, None] + reach_mm * _CIRCLE
    return bool((linker.last[linker.cover.cells_of(rings)] >= place).any(axis=1).all())


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
        reach = len(path_mm) - 1
        while reach > here + 1 and not _is_open(
            path_mm[here], path_mm[reach], open_cells, cover, r0, c0
        ):
            reach -= 1
        kept.append(reach)
    return path_mm[kept]


def _is_open(
    a: FloatArray, b: FloatArray, open_cells: BoolArray, cover: Cover, r0: int, c0: int
) -> bool:
    count = int(np.hypot(*(b - a)) / SAMPLE_MM) + 2
    spots = a + np.linspace(0.0, 1.0, count)[:, None] * (b - a)
    rows, columns = cover.cells_of(spots)
    return bool(open_cells[rows - r0, columns - c0].all())

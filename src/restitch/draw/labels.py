"""Labels that keep out of each other's way."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from restitch.draw.scene import Item, Lines, Page, Rgb, Text
from restitch.model import FloatArray

SIZE = 12.0
_LETTER = 0.58
"""Width of a digit over the letter size."""
_RINGS = (14.0, 24.0, 36.0, 50.0)
_DIRECTIONS = 12


def labels(
    page: Page,
    at: FloatArray,
    words: Sequence[str],
    ink: Sequence[Rgb],
    halo: Rgb,
    *,
    must: bool = True,
) -> list[Item]:
    """Return the words at page points ``at`` (n, 2), or near them with a leader where another
    label is in the way. Without room a label lies on others, or is left out unless it ``must``."""
    leaders: list[Item] = []
    texts: list[Item] = []
    placed = np.zeros((0, 4))
    for point, word, rgb in zip(at, words, ink, strict=True):
        box = None
        for x, y in _spots(point, with_rings=must):
            box = _box(x, y, word)
            if _inside(box, page) and not _meets(box, placed):
                break
        else:
            if not must:
                continue
            x, y = float(point[0]), float(point[1])
            box = _box(x, y, word)
        placed = np.vstack([placed, box])
        if (x, y) != (point[0], point[1]):
            leaders.append(Lines((np.array([point, (x, y)]),), rgb, 1.2))
        texts.append(Text(float(x), float(y), word, SIZE, rgb, "middle", halo=halo))
    return leaders + texts


def _spots(point: FloatArray, with_rings: bool) -> Iterator[tuple[float, float]]:
    yield float(point[0]), float(point[1])
    if with_rings:
        for radius in _RINGS:
            for k in range(_DIRECTIONS):
                angle = 2 * np.pi * k / _DIRECTIONS
                yield (
                    float(point[0] + radius * np.sin(angle)),
                    float(point[1] - radius * np.cos(angle)),
                )


def _box(x: float, y: float, word: str) -> FloatArray:
    half = len(word) * SIZE * _LETTER / 2 + 2
    return np.array([x - half, y - SIZE / 2, x + half, y + SIZE / 2])


def _inside(box: FloatArray, page: Page) -> bool:
    low, high = (0, 0), (page.width, page.height - page.footer)
    return bool((box[:2] >= low).all() and (box[2:] <= high).all())


def _meets(box: FloatArray, placed: FloatArray) -> bool:
    apart = (placed[:, :2] >= box[2:]) | (box[:2] >= placed[:, 2:])
    return bool((~apart.any(axis=1)).any())

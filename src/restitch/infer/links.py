"""Links: how each stroke stands to the next, and what that costs in a ladder."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from restitch.infer.settings import LadderPrice, Settings
from restitch.infer.strokes import Strokes
from restitch.model import BoolArray, FloatArray


class Links(NamedTuple):
    """One row for each pair of strokes ``i``, ``i + 1``."""

    joined: BoolArray
    """(s - 1,) both lie in one chain."""
    turn_cosine: FloatArray
    """(s - 1,) -1: the second runs straight back."""
    advance_mm: FloatArray
    """(s - 1,) signed step across the rungs; its sign says which rail lies left of the advance,
    so it flips where the next layer is sewn back over the column."""
    raw_advance_mm: FloatArray
    """(s - 1,) the same before small advances were averaged."""
    overlap: FloatArray
    """(s - 1,) share of the shorter stroke that faces the other."""
    ratio: FloatArray
    """(s - 1,) difference in length as a power of two."""
    along_mm: FloatArray
    """(s - 1,) step of the middles along the rungs."""


def find_links(strokes: Strokes, settings: Settings) -> Links:
    """Measure every link; rows that are not joined hold values without meaning."""
    chord = strokes.chord
    length = np.maximum(np.hypot(*chord.T), 1e-6)
    unit = chord / length[:, None]
    a, b = unit[:-1], unit[1:]
    cosine = (a * b).sum(axis=1)
    axis = a - b
    size = np.hypot(*axis.T)
    axis = np.where((size > 1e-6)[:, None], axis / np.maximum(size, 1e-6)[:, None], a)
    step = np.diff(strokes.middle, axis=0)
    sign = np.where(np.arange(len(step)) % 2 == 0, 1.0, -1.0)
    raw = (axis[:, 0] * step[:, 1] - axis[:, 1] * step[:, 0]) * sign
    along = (axis * step).sum(axis=1)
    half_a = np.abs((chord[:-1] * axis).sum(axis=1)) / 2
    half_b = np.abs((chord[1:] * axis).sum(axis=1)) / 2
    shorter = np.maximum(np.minimum(half_a, half_b), 1e-6)
    facing = np.minimum(np.minimum(half_a, half_b) * 2, half_a + half_b - np.abs(along))
    joined = strokes.chain[1:] == strokes.chain[:-1]
    return Links(
        joined=joined,
        turn_cosine=cosine,
        advance_mm=_steadied(raw, joined, settings),
        raw_advance_mm=raw,
        overlap=np.clip(facing / (2 * shorter), 0.0, 1.0),
        ratio=np.abs(np.log2(length[1:] / length[:-1])),
        along_mm=along,
    )


def _steadied(raw: FloatArray, joined: BoolArray, settings: Settings) -> FloatArray:
    """Advance with values that rounding drowns replaced by the mean of five links."""
    return np.where(np.abs(raw) < settings.rounding_mm, mean_of_five(raw, joined), raw)


def mean_of_five(value: FloatArray, valid: BoolArray) -> FloatArray:
    """Mean over each row and its two neighbours on either side, as far as they are valid."""
    if not len(value):
        return value
    window = np.ones(5)
    total = np.convolve(np.where(valid, value, 0.0), window)[2:-2]
    count = np.convolve(valid.astype(float), window)[2:-2]
    mean: FloatArray = (total / np.maximum(count, 1.0))[: len(value)]
    return mean


def turn_cost(links: Links, price: LadderPrice) -> FloatArray:
    """What the turn between two strokes costs in a ladder of this price."""
    cost: FloatArray = 4 * np.clip((links.turn_cosine + price.turn_slack) / 0.6, 0, 1.5)
    return cost


def link_cost(links: Links, price: LadderPrice, side: int, settings: Settings) -> FloatArray:
    """What each link costs in a ladder that advances to the given side (1 or -1), capped."""
    pitch = np.maximum(2 * links.advance_mm * side, 1e-3)
    cost = turn_cost(links, price)
    cost += 4 * np.clip(np.log2(pitch / price.pitch_to_mm), 0, 1.5)
    cost += 2 * np.clip(np.log2(price.pitch_from_mm / pitch), 0, 1.5)
    cost += 3 * np.clip((0.6 - links.overlap) / 0.5, 0, 1)
    cost += 1.5 * np.clip(links.ratio - 0.6, 0, 2)
    return np.minimum(cost, settings.link_cap)

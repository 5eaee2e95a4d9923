"""Straight legs of the sewing under a fill: which are crossing rows, which only lead somewhere."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from restitch.infer.grouping import ring_stop
from restitch.infer.settings import Settings
from restitch.model import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class Leg:
    """A straight stretch from point ``start`` to point ``stop``."""

    start: int
    stop: int
    way: FloatArray
    axis: int = -1
    """Which lattice direction it runs along, or -1."""

    @property
    def length_mm(self) -> float:
        return float(np.hypot(*self.way))

    @property
    def angle(self) -> float:
        """Direction modulo half a turn, radians."""
        return float(np.arctan2(self.way[1], self.way[0]) % np.pi)


def travel_under_fill(xy: FloatArray, settings: Settings) -> BoolArray:
    """Which points of a fill's underlay are travel.

    ``xy`` runs from the first point of the underlay to the first point of the cover; the result
    is one shorter. Closed edge runs and crossing rows with their edge steps are underlay.
    """
    travel = np.zeros(max(len(xy) - 1, 0), bool)
    ring = last_ring(xy, settings)
    legs = find_legs(xy, ring, settings)
    axes = lattice_axes(legs, settings)
    legs = [_with_axis(leg, axes, settings) for leg in legs]
    rows = [k for k, leg in enumerate(legs) if leg.axis >= 0]
    rows = _without_lone_rows(legs, rows)
    if ring == 0 and not rows:
        return travel
    ends = [(ring, None)] + [(legs[k].stop, legs[k]) for k in rows]
    begins = [(legs[k].start, legs[k]) for k in rows] + [(len(xy) - 1, None)]
    pitch = {a: _row_pitch([legs[k] for k in rows if legs[k].axis == a], xy) for a in (0, 1)}
    for (stop, a), (start, b) in zip(ends, begins, strict=True):
        if start - stop < 2:
            continue
        if a is not None and b is not None and _is_step(a, b, xy, pitch, settings):
            continue
        travel[stop + 1 : start] = True
    return travel


def last_ring(xy: FloatArray, settings: Settings) -> int:
    """Point at which the last closed edge run ends, or 0 where there is none."""
    at, last = 0, 0
    while at < len(xy) - 3:
        stop = ring_stop(xy, at, settings)
        if stop:
            at = last = stop
            continue
        at += 1
        if at - last > settings.ring_search:
            break
    return last


def find_legs(xy: FloatArray, start: int, settings: Settings) -> list[Leg]:
    """Straight stretches from ``start`` to the end."""
    way = np.diff(xy[start:], axis=0)
    if not len(way):
        return []
    heading = np.arctan2(way[:, 1], way[:, 0])
    turn = np.abs(np.angle(np.exp(1j * np.diff(heading))))
    breaks = np.flatnonzero(turn > settings.leg_turn) + 1
    bounds = np.concatenate([[0], breaks, [len(way)]]) + start
    return [Leg(int(a), int(b), xy[b] - xy[a]) for a, b in pairwise(bounds)]


def lattice_axes(legs: list[Leg], settings: Settings) -> list[float]:
    """Up to two directions (radians) along which most of the sewing runs."""
    if not legs:
        return []
    angle = np.array([leg.angle for leg in legs])
    length = np.array([leg.length_mm for leg in legs])
    axes: list[float] = []
    for _ in range(2):
        bins = np.bincount((angle / np.pi * 60).astype(int) % 60, length, 60)
        spread = bins + np.roll(bins, 1) + np.roll(bins, -1)
        peak = int(spread.argmax())
        if spread[peak] < settings.axis_share * length.sum() or not spread[peak]:
            break
        centre = (peak + 0.5) * np.pi / 60
        off = _apart(angle, centre)
        near = off < settings.axis_slack * 1.5
        mean = np.angle((length[near] * np.exp(2j * angle[near])).sum()) / 2 % np.pi
        if near.sum() >= 2:
            axes.append(float(mean))
        length = np.where(off < np.radians(20), 0.0, length)
        if not length.any():
            break
    return axes


def _apart(angle: FloatArray, axis: float) -> FloatArray:
    off = np.abs(angle - axis) % np.pi
    apart: FloatArray = np.minimum(off, np.pi - off)
    return apart


def _with_axis(leg: Leg, axes: list[float], settings: Settings) -> Leg:
    # 0.1 mm rounding turns a short leg by more than a long one
    slack = settings.axis_slack + 0.12 / max(leg.length_mm, 0.1)
    for number, axis in enumerate(axes):
        if float(_apart(np.array([leg.angle]), axis)[0]) < min(slack, 0.25):
            return Leg(leg.start, leg.stop, leg.way, number)
    return leg


def _without_lone_rows(legs: list[Leg], rows: list[int]) -> list[int]:
    """Rows less legs along an axis by chance, right after the ring or before the cover."""
    while len(rows) > 1 and _lone(legs[rows[0]], legs[rows[1]]):
        rows = rows[1:]
    while len(rows) > 1 and _lone(legs[rows[-1]], legs[rows[-2]]):
        rows = rows[:-1]
    return rows


def _lone(leg: Leg, neighbour: Leg) -> bool:
    """Neighbouring rows of a lattice run against each other; a lone leg does not."""
    return leg.axis != neighbour.axis or float(np.dot(leg.way, neighbour.way)) > 0


def _row_pitch(rows: list[Leg], xy: FloatArray) -> float:
    """Usual distance between neighbouring rows of one axis, millimetres."""
    gaps = [abs(_aside(a, b, xy)) for a, b in pairwise(rows)]
    return float(np.median(gaps)) if gaps else 0.0


def _aside(a: Leg, b: Leg, xy: FloatArray) -> float:
    """Distance of row b's start from the line of row a."""
    unit = a.way / max(a.length_mm, 1e-9)
    off = xy[b.start] - xy[a.stop]
    return float(unit[0] * off[1] - unit[1] * off[0])


def _is_step(a: Leg, b: Leg, xy: FloatArray, pitch: dict[int, float], settings: Settings) -> bool:
    """Whether the way from row a to row b is only the step to the next row."""
    if a.axis != b.axis or float(np.dot(a.way, b.way)) > 0:
        return False
    return abs(_aside(a, b, xy)) < settings.step_pitch * pitch[a.axis] + 0.2

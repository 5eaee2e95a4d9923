"""Straight legs of the sewing under a fill: which are crossing rows, which only lead somewhere."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from restitch.geometry.small import lengths_mm, median
from restitch.infer.grouping import ring_stop
from restitch.infer.settings import Settings
from restitch.model import BoolArray, FloatArray


class Leg(NamedTuple):
    """A straight stretch from point ``start`` to point ``stop``."""

    start: int
    stop: int
    from_mm: FloatArray
    to_mm: FloatArray

    @property
    def way(self) -> FloatArray:
        """(2,) from start to stop."""
        return self.to_mm - self.from_mm

    @property
    def length_mm(self) -> float:
        return float(np.hypot(*self.way))

    @property
    def stitches(self) -> int:
        return self.stop - self.start


def travel_under_fill(xy: FloatArray, rows_from: int, settings: Settings) -> BoolArray:
    """Which points of a fill's underlay are travel.

    ``xy`` runs from the first point of the underlay to the first point of the cover; the result
    is one shorter. From point ``rows_from`` on there are crossing rows for sure. Closed edge runs
    and crossing rows with their edge steps are underlay.
    """
    travel = np.zeros(max(len(xy) - 1, 0), bool)
    # the first rows may have taken the last stitches of the ring
    rings = find_rings(xy[: rows_from + 1 + settings.ring_overrun], settings)
    rings = [(a, b) for a, b in rings if b <= rows_from or rows_from - a > 2 * (b - rows_from)]
    for (_, stop), (start, _) in pairwise([(0, 0), *rings]):
        travel[stop + 1 : start] = start - stop > 1 and start > 0 and stop > 0
    ring = rings[-1][1] if rings else 0
    legs = find_legs(xy, ring, settings)
    row, step = find_rows(xy, legs, settings)
    if not row.any():
        _mark_lone_row(legs, row, bool(rings))
    if not rings and not row.any():
        return travel
    for leg, is_row, is_step in zip(legs, row, step, strict=True):
        if not is_row and not is_step:
            travel[leg.start + 1 : leg.stop + 1] = True
    # the point a way ends at is the first of what it leads to
    for k, leg in enumerate(legs):
        if row[k] and leg.start < len(travel):
            travel[leg.start] = False
    return travel


def find_rings(xy: FloatArray, settings: Settings) -> list[tuple[int, int]]:
    """First and last point of each closed edge run, in sewing order."""
    rings: list[tuple[int, int]] = []
    at, last = 0, 0
    while at < len(xy) - 3 and at - last <= settings.ring_search:
        stop = ring_stop(xy, at, settings)
        if stop and (not rings or _winding(xy[at : stop + 1]) < settings.ring_winding):
            rings.append((at, stop))
            at = last = stop
        else:
            at += 1
    return rings


def _winding(xy: FloatArray) -> float:
    """Sum of all turns of a path whichever way, in full turns: 1 for a convex ring."""
    way = np.diff(xy, axis=0)
    heading = np.arctan2(way[:, 1], way[:, 0])
    return float(np.abs(np.angle(np.exp(1j * np.diff(heading)))).sum() / (2 * np.pi))


def find_legs(xy: FloatArray, start: int, settings: Settings) -> list[Leg]:
    """Straight stretches from ``start`` to the end, cut also where the stitch length changes."""
    way = np.diff(xy[start:], axis=0)
    if not len(way):
        return []
    length = np.hypot(*way.T)
    heading = np.arctan2(way[:, 1], way[:, 0])
    turn = np.abs(np.angle(np.exp(1j * np.diff(heading))))
    inverse = 1 / np.maximum(length, 0.1)
    slack = settings.leg_turn + settings.leg_rounding_mm * (inverse[1:] + inverse[:-1])
    breaks = np.flatnonzero(turn > slack) + 1
    bounds = [0, *breaks.tolist(), len(way)]
    cuts = sorted({*bounds, *(c for a, b in pairwise(bounds) for c in _regimes(length, a, b))})
    return [Leg(a + start, b + start, xy[a + start], xy[b + start]) for a, b in pairwise(cuts)]


def _regimes(length: FloatArray, start: int, stop: int) -> list[int]:
    """Where a straight leg changes from row to travel or back, told by its even stitches.

    Rows keep the stitch of their pattern and end in a part of one; travel divides its way evenly.
    """
    if stop - start < 5:
        return []
    part = length[start:stop]
    cuts = []
    for way_round, flipped in ((1, False), (-1, True)):
        lens = part[::way_round]
        even = np.abs(lens - lens[0]) < 0.15
        head = len(even) if even.all() else int(even.argmin())
        rest = lens[head + 1 : -1]
        if head >= 2 and len(rest) >= 2 and abs(median(rest) - lens[0]) > 0.3:
            cuts.append(stop - head if flipped else start + head)
    return cuts


def find_rows(xy: FloatArray, legs: list[Leg], settings: Settings) -> tuple[BoolArray, BoolArray]:
    """Which legs are crossing rows, and which are steps from one row to the next.

    A row has a neighbour that runs against it beside it, one or two legs away, or at least runs
    along the neighbours' direction in stitches like theirs.
    """
    pairs = [
        (k, other)
        for k, leg in enumerate(legs)
        for other in range(k + 2, min(k + 2 + settings.step_legs, len(legs)))
        if _neighbours(leg, legs[other], settings) and _straight(legs[k + 1 : other], settings)
    ]
    axes = _axes(legs, {k for pair in pairs for k in pair}, settings)
    along = np.array([_runs_along(leg, axes, settings) for leg in legs], bool)
    row, step = np.zeros(len(legs), bool), np.zeros(len(legs), bool)
    for k, other in pairs:
        if along[k] and along[other]:
            row[[k, other]] = True
            step[k + 1 : other] = True
    usual = _usual_stitch(xy, [leg for leg, is_row in zip(legs, row, strict=True) if is_row])
    for k, leg in enumerate(legs):
        if leg.stitches < 2 or not usual or _longest_stitch(xy, leg) < usual - 0.25:
            continue
        row[k] |= along[k] or (leg.stitches > 2 and _uneven(xy, leg))
    return row, step & ~row


def _straight(step: list[Leg], settings: Settings) -> bool:
    """A step from row to row takes no detour."""
    way = float(np.hypot(*(step[-1].to_mm - step[0].from_mm)))
    return sum(leg.length_mm for leg in step) < settings.step_detour * way


def _axes(legs: list[Leg], rows: set[int], settings: Settings) -> list[float]:
    """Up to two directions (radians modulo half a turn) of neighbouring rows, heaviest first."""
    left = [(legs[k].length_mm, np.arctan2(*legs[k].way[::-1])) for k in sorted(rows)]
    total = sum(length for length, _ in left)
    axes: list[float] = []
    while left and len(axes) < 2:
        axis = max(left)[1]
        near = [r for r in left if _off_axis(r[1], axis) < 3 * settings.axis_slack]
        doubled = sum(length * np.exp(2j * angle) for length, angle in near)
        if abs(doubled) < settings.axis_share * total:
            break
        axes.append(float(np.angle(doubled) / 2))
        left = [r for r in left if _off_axis(r[1], axis) >= 3 * settings.axis_slack]
    return axes


def _off_axis(angle: float, axis: float) -> float:
    apart = abs(angle - axis) % np.pi
    return float(min(apart, np.pi - apart))


def _runs_along(leg: Leg, axes: list[float], settings: Settings) -> bool:
    slack = settings.axis_slack + settings.leg_rounding_mm / max(leg.length_mm, 0.1)
    angle = float(np.arctan2(leg.way[1], leg.way[0]))
    return any(_off_axis(angle, axis) < slack for axis in axes)


def _usual_stitch(xy: FloatArray, rows: list[Leg]) -> float:
    """Median of the longest stitch in each row of two stitches or more, else 0."""
    longest = [_longest_stitch(xy, leg) for leg in rows if leg.stitches > 1]
    return median(longest) if longest else 0.0


def _uneven(xy: FloatArray, leg: Leg) -> bool:
    """Rows end in a part of a stitch; travel divides its way evenly."""
    stitch = lengths_mm(xy[leg.start : leg.stop + 1])
    return bool(np.ptp(stitch) > 0.4)


def _longest_stitch(xy: FloatArray, leg: Leg) -> float:
    return float(lengths_mm(xy[leg.start : leg.stop + 1]).max())


def _neighbours(a: Leg, b: Leg, settings: Settings) -> bool:
    """Whether two legs are neighbouring rows of one lattice."""
    la, lb = a.length_mm, b.length_mm
    if min(la, lb) < settings.row_least_mm:
        return False
    ua, ub = a.way / la, b.way / lb
    bend = float(np.hypot(*(ua + ub)))
    if bend > settings.axis_slack + settings.leg_rounding_mm * (1 / la + 1 / lb):
        return False
    off = b.from_mm - a.to_mm
    aside = abs(float(ua[0] * off[1] - ua[1] * off[0]))
    if not settings.lattice_pitch_from_mm < aside < settings.lattice_pitch_to_mm:
        return False
    starts, stops = float(np.dot(b.to_mm - a.from_mm, ua)), float(np.dot(off, ua)) + la
    facing = min(la, stops) - max(0.0, starts)
    near = float(np.hypot(*off)) < settings.step_slant * aside
    return near or facing > settings.row_facing * min(la, lb)


def _mark_lone_row(legs: list[Leg], row: BoolArray, ringed: bool) -> None:
    """A lattice of a single row: a way of several stitches that others lead to and from."""
    if not ringed or len(legs) < 3:
        return
    inner = range(1, len(legs) - 1)
    longest = max(inner, key=lambda k: legs[k].length_mm)
    if legs[longest].stitches >= (2 if len(legs) == 3 else 3):
        row[longest] = True

"""Which kinds of underlay lie under an object, with inset and spacing."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from restitch.geometry.ladder import middle_mean
from restitch.geometry.small import along_mm, dot, headings, lengths, median, nearest
from restitch.infer.cells import sample_lines
from restitch.infer.legs import find_legs, find_rings, find_rows
from restitch.infer.settings import Settings
from restitch.model import BoolArray, FloatArray, Kind

if TYPE_CHECKING:
    from restitch.geometry import Ladder

CENTRE, EDGE, ZIGZAG, DOUBLE_ZIGZAG, LATTICE = (
    "centre run",
    "edge run",
    "zigzag",
    "double zigzag",
    "lattice",
)


class Underlay(NamedTuple):
    """One kind of underlay under one object."""

    kind: str
    inset_mm: float | None = None
    """How far inside the cover's edge it lies."""
    spacing_mm: float | None = None
    """Same-side pitch of a zigzag; distance of neighbouring rows of a lattice."""


class UnderlayRules(NamedTuple):
    """Limits of the kinds (our choice)."""

    centre_share: float = 0.35
    """A run within this share of the half width of the centre line is a centre run."""
    side_share: float = 0.3
    """A zigzag's points lie at least this share of the half width off the centre line."""
    crossings: int = 4
    """So many changes of side in a row make a zigzag."""
    least_share: float = 0.4
    """A kind counts if it runs along this share of the column."""
    double_share: float = 1.6
    """A zigzag this many times as long as the column is a double one."""


def underlay_of(
    kind: Kind, cover: Ladder, lower: list[FloatArray], rules: UnderlayRules | None = None
) -> tuple[Underlay, ...]:
    """The underlay kinds under a cover, lowest first.

    ``lower`` are (k, 2) stretches of underlay in millimetres, in sewing order.
    """
    lower = [xy for xy in lower if len(xy) > 1]
    if not lower or len(cover) < 2:
        return ()
    if kind is Kind.FILL:
        return _under_fill(cover, lower)
    return _under_column(cover, np.concatenate(lower), rules or UnderlayRules())


def _under_column(cover: Ladder, xy: FloatArray, rules: UnderlayRules) -> tuple[Underlay, ...]:
    along, side, half = _places(cover, xy)
    zigzag = _zigzag_steps(side, rules)
    step = np.abs(np.diff(along))
    length = max(cover.length_mm, 1e-6)
    middle = np.abs(side[1:] + side[:-1]) / 2
    found: list[tuple[float, Underlay]] = []

    def add(kind: str, of: BoolArray, inset: float | None, spacing: float | None) -> None:
        if of.any() and step[of].sum() > rules.least_share * length:
            found.append((float(np.flatnonzero(of)[0]), Underlay(kind, inset, spacing)))

    run = ~zigzag & (np.abs(np.diff(side)) < 1.0)
    add(CENTRE, run & (middle < rules.centre_share), None, None)
    edge = run & (middle >= rules.centre_share)
    add(EDGE, edge, _inset(side[1:][edge], half[1:][edge]), None)
    if zigzag.any():
        pitch = 2 * middle_mean(step[zigzag])
        twice = step[zigzag].sum() > rules.double_share * length
        kind = DOUBLE_ZIGZAG if twice else ZIGZAG
        add(kind, zigzag, _inset(side[1:][zigzag], half[1:][zigzag]), pitch)
    return tuple(u for _, u in sorted(found, key=lambda pair: pair[0]))


def _places(cover: Ladder, xy: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Of each point: way along the centre line, place across (-1..1 between the rails), and the
    half width there."""
    left, right = cover.rails_mm
    centre = (left + right) / 2
    way = along_mm(centre)
    near = nearest(xy, centre)
    off = xy - centre[near]
    along = way[near] + dot(off, headings(centre)[near])
    across = (left - right)[near]
    width = np.maximum(lengths(across), 1e-6)
    side = dot(off, across) / width**2 * 2
    return along, side, width / 2


def _zigzag_steps(side: FloatArray, rules: UnderlayRules) -> BoolArray:
    """(k - 1,) steps that belong to a row of changes from side to side."""
    where = np.where(np.abs(side) > rules.side_share, np.sign(side), 0.0)
    changes = where[1:] * where[:-1] < 0
    bounds = np.flatnonzero(np.diff(np.concatenate([[False], changes, [False]]).astype(np.int8)))
    zigzag = np.zeros(len(changes), bool)
    for start, stop in bounds.reshape(-1, 2).tolist():
        zigzag[start:stop] = stop - start >= rules.crossings
    return zigzag


def _inset(side: FloatArray, half: FloatArray) -> float | None:
    if not len(side):
        return None
    return median(np.maximum(1 - np.abs(side), 0.0) * half)


def _under_fill(cover: Ladder, lower: list[FloatArray]) -> tuple[Underlay, ...]:
    xy = np.concatenate(lower)
    settings = Settings()
    rings = find_rings(xy, settings)
    found = []
    if rings:
        ring = np.concatenate([xy[a:b] for a, b in rings])
        found.append(Underlay(EDGE, inset_mm=_to_edge(cover, ring)))
    legs = find_legs(xy, rings[-1][1] if rings else 0, settings)
    rows, _ = find_rows(xy, legs, settings)
    index = np.flatnonzero(rows)
    if len(index) > 1:
        gaps = []
        for a, b in pairwise(index):
            unit = legs[a].way / max(legs[a].length_mm, 1e-9)
            off = legs[b].from_mm - legs[a].to_mm
            gaps.append(abs(float(unit[0] * off[1] - unit[1] * off[0])))
        found.append(Underlay(LATTICE, spacing_mm=median(gaps)))
    return tuple(found)


def _to_edge(cover: Ladder, xy: FloatArray) -> float:
    """Middle distance from points to the edge of a fill: its row ends, its first and last row."""
    start, stop = cover.xy_mm[cover.first], cover.xy_mm[cover.last]
    outer = np.stack(sample_lines(start[[0, -1]], stop[[0, -1]], EDGE_STEP_MM), axis=1)
    ends = np.concatenate([start, stop, outer])
    some = xy[:: max(len(xy) // 64, 1)]
    apart = np.sqrt(((some[:, None] - ends[None]) ** 2).sum(axis=2)).min(axis=1)
    return median(apart)


EDGE_STEP_MM = 0.5
"""First and last row are looked at every so far: finer than an inset."""

"""Proof of optimality for small designs: a dynamic programme over sets of sewn objects.

Level by level; for each set one vector, the cheapest price with each option last. An entry is
dropped when its price and what the rest costs at least come to no less than the best known tour.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from restitch.model import FloatArray
from restitch.sequence.solver.blocks import ColourBound
from restitch.sequence.solver.nodes import Nodes
from restitch.sequence.solver.precedence import Precedence

Level = dict[int, FloatArray]
"""Sets of sewn objects of one size: price by last node."""
Trail = NDArray[np.int32]
"""For each last node the node before it."""
Rest = Callable[[int], float]
"""What sewing the rest of a set costs at least."""

SLACK = 1e-7
"""Prices closer than this are equal."""


@dataclass(frozen=True, slots=True)
class Proof:
    """What the programme found out."""

    finished: bool
    """False: too many sets; nothing is proved."""
    path: list[int] | None
    """Nodes of a tour cheaper than the known one, None where there is none."""


def prove(
    nodes: Nodes, precedence: Precedence, bound: ColourBound, known: float, most_sets: int
) -> Proof:
    """Return a cheaper tour, or the proof that there is none, unless the sets are too many."""
    table = nodes.price(np.arange(nodes.count)[:, None], np.arange(nodes.count)[None, :])
    least = _least_ways_in(nodes, precedence, table)
    everything = (1 << len(precedence)) - 1
    colour_price = 0.0 if nodes.instance.link_price is not None else nodes.instance.weights.colour

    def rest(sewn: int) -> float:
        unsewn = everything & ~sewn
        blocks = max(bound.blocks(unsewn) - 1, 0) if unsewn else 0
        return colour_price * blocks + sum(least[x] for x in _members(unsewn))

    level = _first_level(nodes, precedence, known, rest)
    trail: dict[int, Trail] = {}
    sets = len(level)
    for _ in range(len(precedence) - 1):
        level = _next_level(level, nodes, precedence, table, known, rest, trail)
        sets += len(level)
        if sets > most_sets:
            return Proof(False, None)
        if not level:
            return Proof(True, None)
    value = level.get(everything)
    if value is None or float(value.min()) >= known - SLACK:
        return Proof(True, None)
    return Proof(True, _walk_back(nodes, everything, int(value.argmin()), trail))


def _members(bits: int) -> list[int]:
    found = []
    while bits:
        low = bits & -bits
        found.append(low.bit_length() - 1)
        bits ^= low
    return found


def _least_ways_in(nodes: Nodes, precedence: Precedence, table: FloatArray) -> list[float]:
    """The cheapest link into each object from any that may come before it, without the price of a
    colour change (that is bounded by blocks)."""
    plain = table
    if nodes.instance.link_price is None:
        other = nodes.colour[:, None] != nodes.colour[None, :]
        plain = table - nodes.instance.weights.colour * other
    _, behind = precedence.closure()
    least = []
    for x in range(len(precedence)):
        allowed = np.ones(nodes.count, bool)
        for y in [x, *_members(behind[x])]:
            allowed[nodes.first[y] : nodes.first[y + 1]] = False
        columns = plain[allowed, nodes.first[x] : nodes.first[x + 1]]
        least.append(float(columns.min()) if columns.size else 0.0)
    return least


def _first_level(nodes: Nodes, precedence: Precedence, known: float, rest: Rest) -> Level:
    level: Level = {}
    for x in range(len(precedence)):
        if precedence.before_bits[x]:
            continue
        value = np.full(nodes.count, np.inf)
        span = slice(nodes.first[x], nodes.first[x + 1])
        value[span] = nodes.into[span]
        value[value + rest(1 << x) >= known - SLACK] = np.inf
        if np.isfinite(value).any():
            level[1 << x] = value
    return level


def _next_level(
    level: Level,
    nodes: Nodes,
    precedence: Precedence,
    table: FloatArray,
    known: float,
    rest: Rest,
    trail: dict[int, Trail],
) -> Level:
    """Extend every set by every object that may come next."""
    found: Level = {}
    limits: dict[int, float] = {}
    for sewn, value in level.items():
        rows = np.flatnonzero(np.isfinite(value))
        total = value[rows, None] + table[rows]
        lead, cheapest = rows[total.argmin(axis=0)], total.min(axis=0)
        for x in range(len(precedence)):
            if sewn >> x & 1 or precedence.before_bits[x] & ~sewn:
                continue
            span = slice(int(nodes.first[x]), int(nodes.first[x + 1]))
            price = cheapest[span]
            grown = sewn | 1 << x
            limit = limits.get(grown)
            if limit is None:
                limit = limits[grown] = known - SLACK - rest(grown)
            if price.min() >= limit:
                continue
            held = found.get(grown)
            if held is None:
                held = found[grown] = np.full(nodes.count, np.inf)
                trail[grown] = np.full(nodes.count, -1, np.int32)
            better = (price < held[span]) & (price < limit)
            held[span] = np.where(better, price, held[span])
            trail[grown][span] = np.where(better, lead[span], trail[grown][span])
    return found


def _walk_back(nodes: Nodes, sewn: int, last: int, trail: dict[int, Trail]) -> list[int]:
    path = [last]
    while sewn in trail:
        before = int(trail[sewn][path[-1]])
        sewn &= ~(1 << int(nodes.owner[path[-1]]))
        path.append(before)
    return path[::-1]

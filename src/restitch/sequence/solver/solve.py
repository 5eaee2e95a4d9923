"""The whole search, step by step."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from restitch.sequence.solver.anneal import ONE_WAY, Cooling, anneal
from restitch.sequence.solver.assignment import excess
from restitch.sequence.solver.blocks import ColourBound, colour_bound, fewest_blocks
from restitch.sequence.solver.effort import Effort, default_kicks, effort_of, one_way
from restitch.sequence.solver.greedy import nearest_in_blocks
from restitch.sequence.solver.instance import Instance, Solution
from restitch.sequence.solver.layers import best_options, path_cost
from restitch.sequence.solver.neighbours import near_by_price, near_nodes, windows_of
from restitch.sequence.solver.nodes import Nodes, nodes_of
from restitch.sequence.solver.onward import onward_orders
from restitch.sequence.solver.precedence import Precedence, precedence_of
from restitch.sequence.solver.prices import LinkPrices
from restitch.sequence.solver.proof import prove
from restitch.sequence.solver.tour import Tour

PROVED_OBJECTS = 20
"""Designs of so many objects are small enough to try for a proof."""

NEAR = 12
"""Neighbours that changes are drawn from."""

SEQUENCES = 1 / 3
"""Sequences of colours drawn beside the best one, for each sequence searched (by trial): one may
freeze in a poor one."""
LEAST_CHANGES = 300
"""Changes drawn at a time at the least: fewer cost as much."""

PROOF_WAYS = 2_000_000
"""Ways looked at, after which the proof is given up (under 5 seconds, measured)."""

PROVED_ROUNDS = 0.15
"""Share of the rounds of the search where a proof follows: it finds what the search left."""


def solve(
    instance: Instance,
    *,
    kicks: int | None = None,
    seed: int = 0,
    proof_ways: int = PROOF_WAYS,
    proved_objects: int = PROVED_OBJECTS,
) -> Solution:
    """Return the cheapest order and ends found; never worse than the instance's original.

    ``kicks``: rounds of the search (None: `default_kicks`). The answer depends on the
    instance, the kicks and the seed alone, never on the clock. ``proof_ways``: effort spent on a
    proof for designs of up to ``proved_objects`` (62 at the most: a set is one number).
    """
    nodes = nodes_of(instance)
    precedence = precedence_of(len(instance), instance.precedence)
    bound = colour_bound(instance.colour, precedence)
    small = len(instance) <= proved_objects and proof_ways > 0
    share = PROVED_ROUNDS if small and len(instance) <= PROVED_OBJECTS else 1.0
    asked = default_kicks(instance) if kicks is None else kicks
    effort = effort_of(instance, round(share * asked))
    paths = _first(nodes, precedence, bound, int(SEQUENCES * effort.copies))
    if len(instance) > 1:
        paths = [*paths, _searched(nodes, precedence, paths, effort, seed)]
    path = min((*paths, _original(nodes)), key=lambda p: path_cost(nodes, p))
    if not small:
        return _solution(nodes, path, bound, proved=False)
    proof = prove(nodes, precedence, bound, path_cost(nodes, path), proof_ways)
    return _solution(nodes, proof.path or path, bound, proved=proof.finished)


def _searched(
    nodes: Nodes, precedence: Precedence, paths: list[list[int]], effort: Effort, seed: int
) -> list[int]:
    """The path after the search."""
    prices, cooling = LinkPrices(nodes), Cooling()
    if one_way(nodes.instance):
        table = excess(nodes, precedence)
        paths = [*paths, *onward_orders(table, precedence)]
        paths = [min(paths, key=lambda p: path_cost(nodes, p))]
        near, cooling = near_by_price(table, NEAR), ONE_WAY
    else:
        windows = windows_of(nodes, precedence, nodes.owner[paths[0]].tolist())
        near = near_nodes(nodes, prices, windows, NEAR)
    tour = Tour(nodes, precedence, prices, paths, effort.copies)
    times = -(-LEAST_CHANGES // (tour.count * tour.copies))
    path = anneal(tour, near, effort.rounds, times, seed, cooling)
    return best_options(nodes, nodes.owner[path].tolist())[0]


def _first(nodes: Nodes, precedence: Precedence, bound: ColourBound, walks: int) -> list[list[int]]:
    """The greedy tours, early and late, and the original order, cheapest first; only those of
    fewest colour changes."""
    colour = nodes.instance.colour
    width = _beam_width(len(colour))
    back = precedence.reversed()
    early = fewest_blocks(colour, precedence, bound, width, walks)
    late = fewest_blocks(colour, back, colour_bound(colour, back), width, walks)
    orders = [list(_original_order(nodes.instance))]
    if len(early[0]) <= len(late[0]):
        orders += [nearest_in_blocks(nodes, precedence, b, backwards=False) for b in early]
    if len(late[0]) <= len(early[0]):
        orders += [nearest_in_blocks(nodes, back, b, backwards=True) for b in late]
    found = sorted((best_options(nodes, o) for o in orders), key=lambda pc: pc[1])
    changes = [sum(colour[x] != colour[y] for x, y in pairwise(nodes.owner[p])) for p, _ in found]
    return [path for (path, _), count in zip(found, changes, strict=True) if count <= changes[0]]


def _beam_width(objects: int) -> int:
    """How many sets of objects the colour search keeps (our choice: 0.2 s at the most)."""
    return 50 if objects <= 200 else 40 if objects <= 700 else 12


def _original_order(instance: Instance) -> tuple[int, ...]:
    return instance.original.order if instance.original else tuple(range(len(instance)))


def _original(nodes: Nodes) -> list[int]:
    """The path of the original order with its own options."""
    order = _original_order(nodes.instance)
    found = nodes.instance.original
    option = found.option if found else (0,) * len(order)
    return [int(nodes.first[o] + k) for o, k in zip(order, option, strict=True)]


def _solution(nodes: Nodes, path: list[int], bound: ColourBound, *, proved: bool) -> Solution:
    instance = nodes.instance
    at = np.array(path)
    order = nodes.owner[at]
    a, b = at[:-1], at[1:]
    length = nodes.length_mm(a, b)
    same = nodes.colour[a] == nodes.colour[b]
    travel = float(length.sum())
    if instance.start is not None:
        travel += float(abs(nodes.entry[at[0]] - complex(*instance.start)))
    everything = (1 << len(instance)) - 1
    return Solution(
        order=tuple(order.tolist()),
        option=tuple((at - nodes.first[order]).tolist()),
        cost=path_cost(nodes, path),
        colour_changes=int((~same).sum()),
        trims=int((same & nodes.trimmed(length)).sum()),
        travel_mm=travel,
        lower_bound_changes=bound.blocks(everything) - 1,
        proved=proved,
    )

"""The whole search, step by step."""

from __future__ import annotations

import numpy as np

from restitch.sequence.solver.blocks import ColourBound, colour_bound, fewest_blocks
from restitch.sequence.solver.descent import Descent
from restitch.sequence.solver.greedy import nearest_in_blocks
from restitch.sequence.solver.instance import Instance, Sequence, Solution
from restitch.sequence.solver.kicks import KickSettings, iterate
from restitch.sequence.solver.layers import best_options, path_cost
from restitch.sequence.solver.neighbours import nearest
from restitch.sequence.solver.nodes import Nodes, nodes_of
from restitch.sequence.solver.precedence import Precedence, precedence_of
from restitch.sequence.solver.prices import price_rows
from restitch.sequence.solver.tour import Tour


def solve(instance: Instance, *, kicks: int | None = None, seed: int = 0) -> Solution:
    nodes = nodes_of(instance)
    precedence = precedence_of(len(instance), instance.precedence)
    bound = colour_bound(instance.colour, precedence)
    path, cost = _first(nodes, precedence, bound)
    rows = price_rows(nodes)
    near = nearest(nodes, 8)
    tour = Tour(nodes, precedence, rows, path)
    descent = Descent(nodes, tour, near)
    descent.push(range(len(instance)))
    descent.run()
    iterate(descent, kicks or 0, seed, KickSettings())
    path = tour.path()
    path, cost = best_options(nodes, nodes.owner[path].tolist())
    return _solution(nodes, path, bound)


def _first(nodes, precedence, bound):
    colour = nodes.instance.colour
    n = len(colour)
    width = 100 if n <= 200 else 40 if n <= 700 else 12
    blocks = fewest_blocks(colour, precedence, bound, width)
    back = precedence.reversed()
    back_blocks = fewest_blocks(colour, back, colour_bound(colour, back), width)
    one = nearest_in_blocks(nodes, precedence, blocks, backwards=False)
    two = nearest_in_blocks(nodes, back, back_blocks, backwards=True)
    return min((best_options(nodes, o) for o in (one, two)), key=lambda pc: pc[1])


def _solution(nodes: Nodes, path: list[int], bound: ColourBound) -> Solution:
    instance = nodes.instance
    at = np.array(path)
    order = nodes.owner[at]
    a, b = at[:-1], at[1:]
    length = nodes.length_mm(a, b)
    same = nodes.colour[a] == nodes.colour[b]
    travel = float(length.sum())
    if instance.start is not None:
        travel += float(np.hypot(*(nodes.entry[at[0]] - instance.start)))
    everything = (1 << len(instance)) - 1
    return Solution(
        order=tuple(order.tolist()),
        option=tuple((at - nodes.first[order]).tolist()),
        cost=path_cost(nodes, path),
        colour_changes=int((~same).sum()),
        trims=int((same & nodes.trimmed(length)).sum()),
        travel_mm=travel,
        lower_bound_changes=bound.blocks(everything) - 1,
        proved=False,
    )

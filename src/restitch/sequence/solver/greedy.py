"""A first order: nearest next object inside given colour blocks."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from restitch.model import FloatArray
from restitch.sequence.solver.nodes import Index, Nodes
from restitch.sequence.solver.precedence import Precedence


def nearest_in_blocks(
    nodes: Nodes, precedence: Precedence, blocks: Sequence[Sequence[int]], *, backwards: bool
) -> list[int]:
    """Return an order that sews block after block, always going on to the cheapest object.

    Backwards, precedence and blocks are those of the reversed problem and the order is built
    from its end; it is returned in sewing order all the same.
    """
    order: list[int] = []
    here: int | None = None
    for block in blocks:
        here = _chain(nodes, precedence, block, here, order, backwards)
    return order[::-1] if backwards else order


def _chain(
    nodes: Nodes,
    precedence: Precedence,
    block: Sequence[int],
    here: int | None,
    order: list[int],
    backwards: bool,
) -> int | None:
    """Append the objects of one block to the order; return the node it ends with."""
    inside = set(block)
    waiting = {x: sum(y in inside for y in precedence.before[x]) for x in block}
    candidates = np.concatenate([np.arange(nodes.first[x], nodes.first[x + 1]) for x in block])
    offset, total = {}, 0
    for x in block:
        count = int(nodes.first[x + 1] - nodes.first[x])
        offset[x] = slice(total, total + count)
        total += count
    # what cannot be sewn yet, or is sewn, costs infinitely much
    held = np.zeros(total)
    for x, count in waiting.items():
        if count:
            held[offset[x]] = np.inf
    way = _way(nodes, candidates, backwards)
    for _ in block:
        pick = int(np.argmin(way(here) + held))
        here = int(candidates[pick])
        x = int(nodes.owner[here])
        order.append(x)
        held[offset[x]] = np.inf
        for y in precedence.after[x]:
            if y in inside:
                waiting[y] -= 1
                if not waiting[y]:
                    held[offset[y]] = 0.0
    return here


def _way(nodes: Nodes, candidates: Index, backwards: bool) -> Callable[[int | None], FloatArray]:
    """What ranks the candidates as their link prices from (or to) a node do."""
    instance = nodes.instance
    travel = instance.weights.travel
    enters, leaves = travel * nodes.entry, travel * nodes.exit
    there, cost = (leaves if backwards else enters)[candidates], nodes.cost[candidates]

    def way(here: int | None) -> FloatArray:
        if here is None:
            return np.zeros(len(candidates)) if backwards else nodes.into[candidates]
        if instance.link_price is not None or instance.wish is not None:
            at = np.array(here)
            return nodes.price(candidates, at) if backwards else nodes.price(at, candidates)
        # one colour: the price grows with the length alone
        length: FloatArray = np.abs(there - (enters if backwards else leaves)[here])
        return length if backwards else length + cost

    return way

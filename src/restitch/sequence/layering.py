"""Who must be sewn before whom: from the overlap of shapes, never from touching."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from restitch.geometry.overlap import Pair
from restitch.model import Link, PlannedObject

if TYPE_CHECKING:
    import networkx


@dataclass(frozen=True, slots=True)
class Layering:
    """Pairs of places in the plan (a, b): a is sewn before b. Never a cycle."""

    pairs: tuple[Pair, ...]
    swapped: tuple[Pair, ...]
    """The found swaps that are in force."""
    refused: tuple[Pair, ...]
    """Found swaps that no order can honour."""


def stops(plan: Sequence[PlannedObject]) -> tuple[Pair, ...]:
    """Pairs that keep everything on its side of an object that waits for the operator."""
    held = [i for i, o in enumerate(plan) if any(p.link is Link.STOP for p in o.pieces)]
    return tuple((min(i, s), max(i, s)) for s in held for i in range(len(plan)) if i != s)


def layering(present: Iterable[Pair], wanted: Iterable[Pair]) -> Layering:
    """Return the pairs in force: the present (a, b), a < b, and the wanted (lower, upper).

    A wanted pair beats the present order: where the present pairs lead from the upper back to the
    lower object, those out of the upper one are turned round. A wanted pair that still closes a
    cycle is refused.
    """
    import networkx as nx

    wanted = tuple(wanted)
    graph = nx.DiGraph([*present, *(pair for pair in wanted if pair[0] < pair[1])])
    swapped: list[Pair] = []
    refused: list[Pair] = []
    for lower, upper in (pair for pair in wanted if pair[0] > pair[1]):
        (swapped if _put_under(graph, lower, upper) else refused).append((lower, upper))
    return Layering(tuple(sorted(graph.edges)), tuple(swapped), tuple(refused))


def _put_under(graph: networkx.DiGraph, lower: int, upper: int) -> bool:
    """Turn the graph so that lower comes before upper; False (and no change) where it cannot."""
    import networkx as nx

    graph.add_nodes_from((lower, upper))
    leads_back = {lower} | nx.ancestors(graph, lower)
    turned = [other for other in graph.successors(upper) if other in leads_back]
    graph.remove_edges_from([(upper, other) for other in turned])
    before = {lower, *turned}
    if nx.descendants(graph, upper) & before:
        graph.add_edges_from([(upper, other) for other in turned])
        return False
    graph.add_edges_from([(other, upper) for other in before])
    return True


def reduced(pairs: Iterable[Pair]) -> networkx.DiGraph:
    """Return the layering without the pairs that follow from others: what a reader needs to see."""
    import networkx as nx

    return nx.transitive_reduction(nx.DiGraph(pairs))


def repaired(count: int, pairs: Iterable[Pair]) -> tuple[int, ...]:
    """Return the places 0..count-1 in the order nearest to the present one that honours the pairs.

    Each time the earliest object that is free is sewn next.
    """
    import networkx as nx

    graph = nx.DiGraph()
    graph.add_nodes_from(range(count))
    graph.add_edges_from(pairs)
    return tuple(nx.lexicographical_topological_sort(graph))

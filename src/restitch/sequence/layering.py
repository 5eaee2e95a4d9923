"""Who must be sewn before whom: from the overlap of shapes, never from touching."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from restitch.geometry.overlap import Pair

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
    along: tuple[Pair, ...] = ()
    """Further pairs (lower, upper) that had to be turned with a swap: what lies over the upper
    object and under the lower one goes under both."""


def layering(
    present: Iterable[Pair], wanted: Iterable[Pair], held: frozenset[Pair] = frozenset()
) -> Layering:
    """Return the pairs in force: the present (a, b), a < b, and the wanted (lower, upper).

    A wanted pair beats the present order: where the present pairs lead from the upper back to the
    lower object, those out of the upper one are turned round. A wanted pair that still closes a
    cycle, or would turn one of the present pairs that are ``held``, is refused.
    """
    wanted = tuple(wanted)
    pairs = [*present, *(pair for pair in wanted if pair[0] < pair[1])]
    against = [pair for pair in wanted if pair[0] > pair[1]]
    if not against:
        return Layering(tuple(sorted(set(pairs))), (), ())
    import networkx as nx

    graph = nx.DiGraph(pairs)
    swapped: list[Pair] = []
    refused: list[Pair] = []
    turned: set[Pair] = set()
    for lower, upper in against:
        others = _put_under(graph, lower, upper, held)
        (refused if others is None else swapped).append((lower, upper))
        turned |= {(other, upper) for other in others or ()}
    along = tuple(sorted(turned - set(wanted)))
    return Layering(tuple(sorted(graph.edges)), tuple(swapped), tuple(refused), along)


def _put_under(
    graph: networkx.DiGraph, lower: int, upper: int, held: frozenset[Pair]
) -> list[int] | None:
    """Turn the graph so that lower comes before upper and return what else was put before upper;
    None (and no change) where it cannot be done."""
    import networkx as nx

    graph.add_nodes_from((lower, upper))
    leads_back = {lower} | nx.ancestors(graph, lower)
    turned = [other for other in graph.successors(upper) if other in leads_back]
    if any((upper, other) in held for other in turned):
        return None
    graph.remove_edges_from([(upper, other) for other in turned])
    before = {lower, *turned}
    if nx.descendants(graph, upper) & before:
        graph.add_edges_from([(upper, other) for other in turned])
        return None
    graph.add_edges_from([(other, upper) for other in before])
    return [other for other in turned if other != lower]


def reduced(pairs: Iterable[Pair]) -> networkx.DiGraph:
    """Return the layering without the pairs that follow from others: what a reader needs to see."""
    import networkx as nx

    return nx.transitive_reduction(nx.DiGraph(pairs))


def repaired(count: int, pairs: Iterable[Pair]) -> tuple[int, ...]:
    """Return the places 0..count-1 in the order nearest to the present one that honours the pairs.

    Each time the earliest object that is free is sewn next.
    """
    pairs = tuple(pairs)
    if all(a < b for a, b in pairs):
        return tuple(range(count))
    import networkx as nx

    graph = nx.DiGraph()
    graph.add_nodes_from(range(count))
    graph.add_edges_from(pairs)
    return tuple(nx.lexicographical_topological_sort(graph))

"""Who must be sewn before whom: from the overlap of shapes, never from touching."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from restitch.model import Kind, Link, PlannedObject

if TYPE_CHECKING:
    import networkx
    from shapely import Geometry

Pair = tuple[int, int]


@dataclass(frozen=True, slots=True)
class LayeringLimits:
    """What counts as overlap. Our choice, measured: smaller overlaps cost needless colour changes,
    and nothing of them can be seen."""

    overlap_mm2: float = 0.15
    shrink_mm: float = 0.15
    same_thread_share: float = 0.3
    """Objects of one thread and different kinds keep their order above this share of the lesser
    one: the order decides which way the thread lies there."""


@dataclass(frozen=True, slots=True)
class Layering:
    """Pairs of places in the plan (a, b): a is sewn before b. Never a cycle."""

    pairs: tuple[Pair, ...]
    swapped: tuple[Pair, ...]
    """The found swaps that are in force."""
    refused: tuple[Pair, ...]
    """Found swaps that no order can honour."""


def overlaps(
    plan: Sequence[PlannedObject],
    outlines: Sequence[Geometry],
    limits: LayeringLimits | None = None,
) -> tuple[Pair, ...]:
    """Return the pairs (i, j), i < j, of places in the plan whose shapes overlap for the eye."""
    import shapely

    limits = limits or LayeringLimits()
    shapes = np.array(outlines, dtype=object)
    areas = shapely.area(shapes)
    runs = np.array([o.kind is Kind.RUN for o in plan])
    inner = np.where(runs, shapes, shapely.buffer(shapes, -limits.shrink_mm, quad_segs=2))
    near = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    i, j = near[:, near[0] < near[1]]
    # the larger of the two is shrunk: shrinking a thin line would lose it
    large, small = np.where(areas[i] >= areas[j], (i, j), (j, i))
    shared = shapely.area(shapely.intersection(inner[large], shapes[small]))
    thread = np.array([o.thread for o in plan], dtype=int)
    kind = np.array([list(Kind).index(o.kind) for o in plan], dtype=int)
    counts = np.where(
        thread[i] != thread[j],
        shared >= limits.overlap_mm2,
        (kind[i] != kind[j]) & (shared > limits.same_thread_share * np.maximum(areas[small], 1e-9)),
    )
    pairs = np.stack([i, j], axis=1)[counts]
    return tuple(sorted((int(a), int(b)) for a, b in pairs))


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
    swapped, refused = [], []
    for lower, upper in (pair for pair in wanted if pair[0] > pair[1]):
        trial = graph.copy()
        trial.add_nodes_from((lower, upper))
        if trial.has_edge(upper, lower):
            trial.remove_edge(upper, lower)
        for other in list(trial.successors(upper)):
            if other != lower and nx.has_path(trial, other, lower):
                trial.remove_edge(upper, other)
                trial.add_edge(other, upper)
        trial.add_edge(lower, upper)
        if nx.is_directed_acyclic_graph(trial):
            graph = trial
            swapped.append((lower, upper))
        else:
            refused.append((lower, upper))
    return Layering(tuple(sorted(graph.edges)), tuple(swapped), tuple(refused))


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

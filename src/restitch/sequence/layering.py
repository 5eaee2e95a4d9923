"""Who must be sewn before whom: from the overlap of shapes, never from touching."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from graphlib import TopologicalSorter
from heapq import heapify, heappop, heappush
from typing import NamedTuple

from restitch.geometry.overlap import Pair


class Layering(NamedTuple):
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
    cycle, or would turn an earlier one or one of the present pairs that are ``held``, is refused.
    """
    wanted = tuple(wanted)
    pairs = [*present, *(pair for pair in wanted if pair[0] < pair[1])]
    against = [pair for pair in wanted if pair[0] > pair[1]]
    if not against:
        return Layering(tuple(sorted(set(pairs))), (), ())
    graph = _Graph(pairs)
    swapped: list[Pair] = []
    refused: list[Pair] = []
    for lower, upper in against:
        done = _put_under(graph, lower, upper, held.union(swapped))
        (swapped if done else refused).append((lower, upper))
    in_force = graph.pairs()
    along = tuple(pair for pair in in_force if pair[0] > pair[1] and pair not in wanted)
    return Layering(in_force, tuple(swapped), tuple(refused), along)


class _Graph:
    """Pairs that are turned one by one. Plain sets: loading networkx takes half as long as
    reading and writing a design of 20,000 stitches."""

    def __init__(self, pairs: Iterable[Pair]) -> None:
        self.after: defaultdict[int, set[int]] = defaultdict(set)
        self.before: defaultdict[int, set[int]] = defaultdict(set)
        for pair in pairs:
            self.add(*pair)

    def add(self, a: int, b: int) -> None:
        self.after[a].add(b)
        self.before[b].add(a)

    def remove(self, a: int, b: int) -> None:
        self.after[a].discard(b)
        self.before[b].discard(a)

    def pairs(self) -> tuple[Pair, ...]:
        return tuple(sorted((a, b) for a, others in self.after.items() for b in others))


def _reached(start: int, steps: Mapping[int, set[int]]) -> set[int]:
    """All that the steps lead to, the start included."""
    found, open_ends = {start}, [start]
    while open_ends:
        more = steps.get(open_ends.pop(), set()) - found
        found |= more
        open_ends += more
    return found


def _put_under(graph: _Graph, lower: int, upper: int, held: frozenset[Pair]) -> bool:
    """Turn the graph so that lower comes before upper, and with it what else lies between them;
    False, and no change, where it cannot be done."""
    turned = graph.after[upper] & _reached(lower, graph.before)
    if any((upper, other) in held for other in turned):
        return False
    for other in turned:
        graph.remove(upper, other)
    before = {lower, *turned}
    if _reached(upper, graph.after) & before:
        for other in turned:
            graph.add(upper, other)
        return False
    for other in before:
        graph.add(other, upper)
    return True


def repaired(count: int, pairs: Iterable[Pair]) -> tuple[int, ...]:
    """Return the places 0..count-1 in the order nearest to the present one that honours the pairs.

    Each time the earliest object that is free is sewn next.
    """
    pairs = tuple(pairs)
    if all(a < b for a, b in pairs):
        return tuple(range(count))
    before = TopologicalSorter(dict.fromkeys(range(count), ()))
    for a, b in pairs:
        before.add(b, a)
    before.prepare()
    order: list[int] = []
    free = list(before.get_ready())
    heapify(free)
    while free:
        order.append(heappop(free))
        before.done(order[-1])
        for place in before.get_ready():
            heappush(free, place)
    return tuple(order)

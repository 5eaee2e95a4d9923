"""The colour sequence: which colours are threaded in turn, and what is sewn under each.

A beam search over sets of sewn objects. One step threads a colour and sews everything of it that
can be sewn: sewing more never costs a change. Ranked by the changes still needed at least, plus
what is unsewn: an object on which a long chain of colours still waits counts more. A set inside
another of the same number of changes is dropped.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from heapq import nlargest
from typing import NamedTuple

import numpy as np

from restitch.sequence.solver.front import first_front
from restitch.sequence.solver.precedence import Precedence

UNSEWN_SHARE = 2.0
"""Weight of what is unsewn, in shares of the first bound; found by trial on made-up designs."""

MANY_COLOURS = 32
"""Of more colours than this (files that name no threads), one that can be finished is threaded at
once: it must be threaded anyway, so that costs no change, and the search need not branch ..."""
FEW_STEPS = 8
"""... else only so many colours are tried, those that free most."""


class ColourBound(NamedTuple):
    """How many separate blocks of each colour the unsewn objects still need at least."""

    levels: tuple[tuple[int, ...], ...]
    """For each colour, bit sets of the objects from which one path meets at least 1, 2, ...
    separate blocks of the colour."""

    def blocks(self, unsewn: int) -> int:
        """Lower bound of the blocks needed to sew an (upward closed) set."""
        return sum(self.by_colour(unsewn, [len(sets) for sets in self.levels]))

    def by_colour(self, unsewn: int, most: Sequence[int]) -> list[int]:
        """The same colour by colour, where it is known to be no more than ``most``."""
        counts = []
        for sets, count in zip(self.levels, most, strict=True):
            # each set lies inside the one before it
            while count and not sets[count - 1] & unsewn:
                count -= 1
            counts.append(count)
        return counts


def colour_bound(colour: Sequence[int], precedence: Precedence) -> ColourBound:
    """Return the bound for all upward closed sets of objects."""
    levels = []
    for wanted in sorted(set(colour)):
        # blocks of the wanted colour on the richest path from x on
        count = [0] * len(colour)
        for x in reversed(precedence.topological):
            if colour[x] == wanted:
                count[x] = max(
                    (count[y] + (colour[y] != wanted) for y in precedence.after[x]), default=1
                )
            else:
                count[x] = max((count[y] for y in precedence.after[x]), default=0)
        sets = [0] * max(count)
        for x, reached in enumerate(count):
            for level in range(reached):
                sets[level] |= 1 << x
        levels.append(tuple(sets))
    return ColourBound(tuple(levels))


def fewest_blocks(
    colour: Sequence[int], precedence: Precedence, bound: ColourBound, width: int, walks: int
) -> list[list[list[int]]]:
    """Return the blocks (lists of objects, in a feasible order) of the best sequence found, then
    those of others as short: so many walks back through the sets found are drawn at random.

    Every object is in the earliest block that can hold it.
    """
    everything = (1 << len(colour)) - 1
    waits = _waiting(colour, precedence, UNSEWN_SHARE * bound.blocks(everything))
    bits = [1 << x for x in range(len(colour))]
    members: dict[int, int] = {}
    for x, thread in enumerate(colour):
        members[thread] = members.get(thread, 0) | bits[x]
    beam = {0: State(0, [], [], sum(waits), [len(sets) for sets in bound.levels])}
    fronts = {0: first_front(colour, precedence)}
    parents: list[dict[int, State]] = []
    while everything not in beam:
        found: dict[int, State] = {}
        for sewn, state in beam.items():
            front = fronts[sewn]
            blocks = [front.block(thread, colour, precedence) for thread in sorted(front.ready)]
            for block, after in _steps(sewn, blocks, colour, members, bits, waits):
                if after in found:
                    found[after].also.append((sewn, block))
                else:
                    unsewn = state.unsewn - sum([waits[x] for x in block])
                    needs = bound.by_colour(everything & ~after, state.needs)
                    found[after] = State(sewn, block, [], unsewn, needs)
        beam = _best(found, width)
        fronts = {
            sewn: fronts[state.before].behind(colour[state.block[0]], colour, precedence)
            for sewn, state in beam.items()
        }
        parents.append(beam)
    sequences = [_walk_back(parents, everything, None)]
    random = np.random.default_rng(0)
    for _ in range(walks):
        other = _walk_back(parents, everything, random)
        if other not in sequences:
            sequences.append(other)
    return sequences


class State(NamedTuple):
    """How a set of sewn objects was reached."""

    before: int
    """The set one block earlier."""
    block: list[int]
    """Objects of the last block."""
    also: list[tuple[int, list[int]]]
    """The same for other ways to it of as many blocks."""
    unsewn: float
    """Weight of what is not in the set."""
    needs: list[int]
    """Blocks of each colour that are needed at least for what is not in the set."""


def _waiting(colour: Sequence[int], precedence: Precedence, total: float) -> list[float]:
    """Weight of each object, by the longest chain of colour changes that waits for it."""
    chain = [0] * len(colour)
    for x in reversed(precedence.topological):
        after = precedence.after[x]
        chain[x] = max((chain[y] + (colour[y] != colour[x]) for y in after), default=0)
    weights = [(1.0 + length) ** 2 for length in chain]
    scale = total / sum(weights)
    return [scale * weight for weight in weights]


def _best(found: dict[int, State], width: int) -> dict[int, State]:
    """The most promising sets, none of them inside another."""
    ranked = sorted(found, key=lambda s: sum(found[s].needs) + found[s].unsewn)
    kept: dict[int, State] = {}
    for sewn in ranked:
        if not any(sewn | other == other for other in kept):
            kept[sewn] = found[sewn]
            if len(kept) == width:
                break
    return kept


def _steps(
    sewn: int,
    blocks: Sequence[list[int]],
    colour: Sequence[int],
    members: Mapping[int, int],
    bits: Sequence[int],
    waits: Sequence[float],
) -> list[tuple[list[int], int]]:
    """Those of the blocks that are tried next, each with the set it leads to."""
    found = [(block, sewn | sum([bits[x] for x in block])) for block in blocks]
    if len(members) <= MANY_COLOURS:
        return found
    for block, after in found:
        if not members[colour[block[0]]] & ~after:
            return [(block, after)]
    return nlargest(FEW_STEPS, found, key=lambda step: sum(waits[x] for x in step[0]))


def _walk_back(
    parents: list[dict[int, State]], sewn: int, random: np.random.Generator | None
) -> list[list[int]]:
    """The blocks that lead to a set; where there are several ways, drawn at random if asked."""
    blocks = []
    for beam in reversed(parents):
        state = beam[sewn]
        ways = [(state.before, state.block), *state.also]
        sewn, block = ways[int(random.integers(len(ways))) if random else 0]
        blocks.append(block)
    return blocks[::-1]

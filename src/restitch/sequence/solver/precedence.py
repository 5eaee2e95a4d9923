"""Who must be sewn before whom, as bit sets (Python ints, bit x = object x)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from restitch.errors import UsageError


@dataclass(frozen=True, slots=True)
class Precedence:
    """A reduced precedence graph: only the pairs that no other pairs imply."""

    before: tuple[tuple[int, ...], ...]
    """Direct predecessors of each object."""
    after: tuple[tuple[int, ...], ...]
    """Direct successors of each object."""
    before_bits: tuple[int, ...]
    """Direct predecessors as a bit set."""
    topological: tuple[int, ...]
    """The objects in one feasible order."""

    def __len__(self) -> int:
        return len(self.before)

    def reversed(self) -> Precedence:
        """The graph with every pair turned round."""
        return Precedence(self.after, self.before, _bits(self.after), self.topological[::-1])

    def closure(self) -> tuple[list[int], list[int]]:
        """All predecessors and all successors of each object, as bit sets."""
        ahead, behind = [0] * len(self), [0] * len(self)
        for x in self.topological:
            for y in self.before[x]:
                ahead[x] |= ahead[y] | 1 << y
        for x in reversed(self.topological):
            for y in self.after[x]:
                behind[x] |= behind[y] | 1 << y
        return ahead, behind


def precedence_of(count: int, pairs: Iterable[tuple[int, int]]) -> Precedence:
    """Return the transitive reduction of the pairs; `UsageError` where they run in a circle."""
    after: list[set[int]] = [set() for _ in range(count)]
    for a, b in pairs:
        after[a].add(b)
    topological = _topological(after)
    reach = [0] * count
    kept: list[list[int]] = [[] for _ in range(count)]
    place = {x: i for i, x in enumerate(topological)}
    for x in reversed(topological):
        for y in sorted(after[x], key=place.__getitem__):
            if not reach[x] >> y & 1:
                kept[x].append(y)
                reach[x] |= reach[y] | 1 << y
    before: list[list[int]] = [[] for _ in range(count)]
    for x in range(count):
        for y in kept[x]:
            before[y].append(x)
    ahead = tuple(map(tuple, before))
    return Precedence(ahead, tuple(map(tuple, kept)), _bits(ahead), tuple(topological))


def _bits(lists: Iterable[Iterable[int]]) -> tuple[int, ...]:
    return tuple(sum(1 << y for y in members) for members in lists)


def _topological(after: list[set[int]]) -> list[int]:
    waiting = [0] * len(after)
    for members in after:
        for y in members:
            waiting[y] += 1
    ready = [x for x, count in enumerate(waiting) if count == 0]
    for x in ready:  # grows while it is read
        for y in sorted(after[x]):
            waiting[y] -= 1
            if waiting[y] == 0:
                ready.append(y)
    if len(ready) < len(after):
        held = next(x for x, count in enumerate(waiting) if count)
        raise UsageError(f"the sewing order runs in a circle around object {held}")
    return ready

"""What can be sewn next after a set of sewn objects, kept up to date block by block."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from restitch.sequence.solver.precedence import Precedence

Freed = dict[int, int]
"""Objects with fewer unsewn direct predecessors than before, and how many are left."""


class Front(NamedTuple):
    """What a set of sewn objects leaves to be sewn."""

    waiting: list[int]
    """How many direct predecessors of each object are unsewn."""
    ready: dict[int, list[int]]
    """By colour the unsewn objects that wait for nothing."""

    def block(self, thread: int, colour: Sequence[int], precedence: Precedence) -> list[int]:
        """Everything of a colour that can be sewn now, in a feasible order."""
        return self._sew(thread, colour, precedence)[0]

    def behind(self, thread: int, colour: Sequence[int], precedence: Precedence) -> Front:
        """The front after the block of a colour."""
        _, freed = self._sew(thread, colour, precedence)
        waiting, ready = self.waiting.copy(), self.ready.copy()
        del ready[thread]
        for x, left in freed.items():
            waiting[x] = left
            if not left and colour[x] != thread:
                ready[colour[x]] = [*ready.get(colour[x], ()), x]
        return Front(waiting, ready)

    def _sew(
        self, thread: int, colour: Sequence[int], precedence: Precedence
    ) -> tuple[list[int], Freed]:
        block = self.ready[thread].copy()
        freed: Freed = {}
        for x in block:  # grows while it is read
            for y in precedence.after[x]:
                left = freed.get(y, self.waiting[y]) - 1
                freed[y] = left
                if not left and colour[y] == thread:
                    block.append(y)
        return block, freed


def first_front(colour: Sequence[int], precedence: Precedence) -> Front:
    """Return the front before anything is sewn."""
    waiting = [len(before) for before in precedence.before]
    ready: dict[int, list[int]] = {}
    for x, count in enumerate(waiting):
        if not count:
            ready.setdefault(colour[x], []).append(x)
    return Front(waiting, ready)

"""The sequence under search: nodes by place, places by object, changes that can be undone."""

from __future__ import annotations

from collections.abc import Sequence

from restitch.sequence.solver.nodes import Nodes
from restitch.sequence.solver.precedence import Precedence
from restitch.sequence.solver.prices import Row


class Tour:
    """A feasible sequence of nodes between a start and an end sentinel.

    Place 0 holds the start (node m, object n), place n + 1 the end (node m + 1, object n + 1).
    Mutable on purpose: this is the inner loop of the search.
    """

    __slots__ = ("after", "before", "free", "log", "owner", "place", "rows", "seq")

    def __init__(
        self, nodes: Nodes, precedence: Precedence, rows: list[Row], path: Sequence[int]
    ) -> None:
        n, m = len(nodes.instance), nodes.count
        self.rows = rows
        self.owner: list[int] = [*nodes.owner.tolist(), n, n + 1]
        self.after = [*precedence.after, (), ()]
        self.before = [*precedence.before, (), ()]
        self.free = not any(precedence.after)
        self.seq: list[int] = [m, *path, m + 1]
        self.place = [0] * (n + 2)
        self.log: list[tuple[int, list[int]]] = []
        self._place(0, self.seq)

    def path(self) -> list[int]:
        """The nodes in order, without the sentinels."""
        return self.seq[1:-1]

    def put(self, low: int, nodes: list[int]) -> None:
        """Write nodes (the same objects, in any order) from place `low` on."""
        high = low + len(nodes)
        self.log.append((low, self.seq[low:high]))
        self.seq[low:high] = nodes
        self._place(low, nodes)

    def undo(self) -> None:
        """Take back everything since the log was last cleared."""
        for low, nodes in reversed(self.log):
            self.seq[low : low + len(nodes)] = nodes
            self._place(low, nodes)
        self.log.clear()

    def _place(self, low: int, nodes: Sequence[int]) -> None:
        place, owner = self.place, self.owner
        for at, node in enumerate(nodes, low):
            place[owner[node]] = at

    def can_swap(self, low: int, middle: int, high: int) -> bool:
        """Whether places [low, middle) and [middle, high) may change sides."""
        if self.free:
            return True
        seq, owner, place = self.seq, self.owner, self.place
        if middle - low <= high - middle:
            after = self.after
            for at in range(low, middle):
                for y in after[owner[seq[at]]]:
                    if middle <= place[y] < high:
                        return False
        else:
            before = self.before
            for at in range(middle, high):
                for y in before[owner[seq[at]]]:
                    if low <= place[y] < middle:
                        return False
        return True

    def can_reverse(self, low: int, high: int) -> bool:
        """Whether the objects at places [low, high) may be sewn in reverse order."""
        if self.free:
            return True
        seq, owner, place, after = self.seq, self.owner, self.place, self.after
        for at in range(low, high):
            for y in after[owner[seq[at]]]:
                if place[y] < high:
                    return False
        return True

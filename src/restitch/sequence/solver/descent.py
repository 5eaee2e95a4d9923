"""Local search: change the sequence as long as a small change makes it cheaper.

A queue holds the objects whose surroundings changed. For each the best of these is made: another
option; the object, or a segment of two or three that begins or ends with it, moved next to one of
its nearest neighbours (turned round or not); the stretch between the two turned round; two
stretches exchanged so that the two become neighbours. Precedence is checked by the places of
direct neighbours in the reduced graph: the sequence is feasible, so they are enough.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from itertools import pairwise

from restitch.sequence.solver.nodes import Nodes, mirrors
from restitch.sequence.solver.tour import Tour

LEAST_GAIN = 1e-7
"""Gains below this are rounding."""

Near = list[list[tuple[int, float]]]
Move = tuple[float, int, list[int]]
"""Gain, first place written, nodes written."""

NO_MOVE: Move = (LEAST_GAIN, 0, [])


class Descent:
    """Local search on one tour."""

    __slots__ = ("exact", "mirror", "near", "options", "queue", "queued", "tour")

    def __init__(self, nodes: Nodes, tour: Tour, near: Near) -> None:
        self.tour = tour
        self.near = near
        mirror, self.exact = mirrors(nodes)
        self.mirror = [*mirror, nodes.count, nodes.count + 1]
        first = nodes.first.tolist()
        self.options = [range(low, high) for low, high in pairwise(first)]
        self.queue: deque[int] = deque()
        self.queued = [False] * len(self.options) + [True, True]  # sentinels never queue

    def push(self, objects: Iterable[int]) -> None:
        """Ask for the surroundings of these objects to be searched."""
        queued, queue = self.queued, self.queue
        for x in objects:
            if not queued[x]:
                queued[x] = True
                queue.append(x)

    def push_around(self, low: int, high: int) -> None:
        """Push the objects at both ends of the places [low, high), inside and outside."""
        seq, owner = self.tour.seq, self.tour.owner
        self.push((owner[seq[low - 1]], owner[seq[low]], owner[seq[high - 1]], owner[seq[high]]))

    def run(self) -> float:
        """Search until the queue is empty; return what was gained."""
        gained = 0.0
        queue, queued = self.queue, self.queued
        while queue:
            x = queue.popleft()
            queued[x] = False
            gain = self.improve(x)
            if gain:
                gained += gain
                self.push((x,))
        return gained

    def improve(self, x: int) -> float:
        """Make the best change around one object; return its gain, 0 if there is none."""
        move = self._other_option(x, NO_MOVE)
        move = self._insert(x, move)
        move = self._move_segment(x, move)
        move = self._reverse(x, move)
        move = self._exchange(x, move)
        gain, low, written = move
        if not written:
            return 0.0
        self._write(low, written)
        return gain

    def _write(self, low: int, written: list[int]) -> None:
        """Write nodes from place `low` on and queue both ends of every link that is new."""
        tour = self.tour
        old = tour.seq[low : low + len(written)]
        tour.put(low, written)
        seq, owner = tour.seq, tour.owner
        touched = []
        for at, (was, node) in enumerate(zip(old, written, strict=True), low):
            if was != node:
                touched.append(at)
        if len(touched) <= 4:
            for at in touched:
                self.push((owner[seq[at - 1]], owner[seq[at]], owner[seq[at + 1]]))
            return
        follows = dict(pairwise(old))
        mirror = self.mirror
        for a, b in pairwise(written):
            if follows.get(a) != b and follows.get(mirror[b]) != mirror[a]:
                self.push((owner[a], owner[b]))
        self.push_around(low, low + len(written))

    def _other_option(self, x: int, move: Move) -> Move:
        tour = self.tour
        rows, at = tour.rows, tour.place[x]
        before, here, then = tour.seq[at - 1 : at + 2]
        row = rows[before]
        now = row[here] + rows[here][then]
        best = move[0]
        for o in self.options[x]:
            gain = now - row[o] - rows[o][then]
            if gain > best:
                best, move = gain, (gain, at, [o])
        return move

    def _insert(self, x: int, move: Move) -> Move:
        """Move one object, with any of its options, next to a near one."""
        tour = self.tour
        rows, seq, place, options = tour.rows, tour.seq, tour.place, self.options[x]
        at = place[x]
        before, here, then = seq[at - 1 : at + 2]
        saved = rows[before][here] + rows[here][then] - rows[before][then]
        best = move[0]
        for c, cheap in self.near[x]:
            if cheap >= saved - best:
                break
            beside = place[c]
            for gap in (beside, beside + 1):
                if gap == at or gap == at + 1:
                    continue
                row, right = rows[seq[gap - 1]], seq[gap]
                most = saved + row[right]
                for o in options:
                    gain = most - row[o] - rows[o][right]
                    if gain > best:
                        changed = self._moved(at, at + 1, gap, [o])
                        if changed is None:
                            break
                        best, move = gain, (gain, *changed)
        return move

    def _moved(
        self, low: int, high: int, gap: int, nodes: list[int]
    ) -> tuple[int, list[int]] | None:
        """What to write to have the objects at [low, high) before place `gap`, as `nodes`."""
        tour = self.tour
        if gap > high:
            if tour.can_swap(low, high, gap):
                return low, tour.seq[high:gap] + nodes
        elif tour.can_swap(gap, low, high):
            return gap, nodes + tour.seq[gap:low]
        return None

    def _move_segment(self, x: int, move: Move) -> Move:
        """Move two or three objects, one end of which is x, next to a near one of x."""
        tour = self.tour
        at, end = tour.place[x], len(tour.seq) - 1
        for low, high in ((at, at + 2), (at, at + 3), (at - 1, at + 1), (at - 2, at + 1)):
            if low > 0 and high <= end:
                move = self._move_one_segment(x, low, high, move)
        return move

    def _move_one_segment(self, x: int, low: int, high: int, move: Move) -> Move:
        tour = self.tour
        rows, seq, place, mirror = tour.rows, tour.seq, tour.place, self.mirror
        before, head, tail, then = seq[low - 1], seq[low], seq[high - 1], seq[high]
        leads = tour.owner[head] == x
        saved = rows[before][head] + rows[tail][then] - rows[before][then]
        turned_head, turned_tail = mirror[tail], mirror[head]
        turning: float | None = None
        best = move[0]
        for c, cheap in self.near[x]:
            if cheap >= saved - best:
                break
            beside = place[c]
            if low <= beside < high:
                continue
            # x follows c, or c follows x: as it stands at one side, turned round at the other
            gap = beside + 1 if leads else beside
            if gap != low and gap != high:
                left, right = seq[gap - 1], seq[gap]
                gain = saved + rows[left][right] - rows[left][head] - rows[tail][right]
                if gain > best:
                    changed = self._moved(low, high, gap, seq[low:high])
                    if changed is not None:
                        best, move = gain, (gain, *changed)
            gap = beside if leads else beside + 1
            left, right = seq[gap - 1], seq[gap]
            if gap == low:
                left = before
            gain = saved - rows[left][turned_head] - rows[turned_tail][right]
            gain += rows[left][right]
            if gain > best and gap != low and gap != high:
                if turning is None:
                    turning = self._turning(low, high)
                gain -= turning
                if gain > best:
                    changed = self._moved(low, high, gap, self._turned(low, high))
                    if changed is not None:
                        best, move = gain, (gain, *changed)
        return move

    def _turned(self, low: int, high: int) -> list[int]:
        mirror = self.mirror
        return [mirror[node] for node in reversed(self.tour.seq[low:high])]

    def _turning(self, low: int, high: int) -> float:
        """What turning round the places [low, high) adds to the links inside; NEVER-like large
        where precedence forbids it."""
        tour = self.tour
        if not tour.can_reverse(low, high):
            return float("inf")
        if self.exact:
            return 0.0
        return _inside(tour, self._turned(low, high)) - _inside(tour, tour.seq[low:high])

    def _reverse(self, x: int, move: Move) -> Move:
        """Turn round a stretch so that x gets a near one as neighbour."""
        tour = self.tour
        rows, seq, place, mirror = tour.rows, tour.seq, tour.place, self.mirror
        at = place[x]
        before, here, then = seq[at - 1 : at + 2]
        after_here, before_here = rows[here][then], rows[before][here]
        dearer = max(after_here, before_here)
        best = move[0]
        for c, cheap in self.near[x]:
            if cheap >= dearer:
                break
            beside = place[c]
            if beside > at:
                spans = ((at + 1, beside + 1), (at, beside))
            else:
                spans = ((beside + 1, at + 1), (beside, at))
            for low, high in spans:
                left, head, tail, right = seq[low - 1], seq[low], seq[high - 1], seq[high]
                gain = (
                    rows[left][head]
                    + rows[tail][right]
                    - rows[left][mirror[tail]]
                    - rows[mirror[head]][right]
                )
                if gain > best:
                    gain -= self._turning(low, high)
                    if gain > best:
                        best, move = gain, (gain, low, self._turned(low, high))
        return move

    def _exchange(self, x: int, move: Move) -> Move:
        """Exchange two stretches that follow each other, so that x gets a near one as neighbour
        and so do the ends that meet elsewhere."""
        tour = self.tour
        rows, seq, place, owner = tour.rows, tour.seq, tour.place, tour.owner
        at = place[x]
        best = move[0]
        for c, cheap in self.near[x]:
            beside = place[c]
            # x then c: [at + 1, beside) and [beside, ?); c then x: [beside + 1, at) and [at, ?)
            low, middle = (at + 1, beside) if beside > at else (beside + 1, at)
            if low >= middle:
                continue
            left, head, tail, second = seq[low - 1], seq[low], seq[middle - 1], seq[middle]
            first_gain = rows[left][head] + rows[tail][second] - rows[left][second]
            if rows[left][head] <= cheap and rows[tail][second] <= cheap:
                continue
            for e, cheapest in self.near[owner[head]]:
                if cheapest >= first_gain:
                    break
                high = place[e] + 1
                if high <= middle:
                    continue
                last, right = seq[high - 1], seq[high]
                gain = first_gain + rows[last][right] - rows[last][head] - rows[tail][right]
                if gain > best and tour.can_swap(low, middle, high):
                    best, move = gain, (gain, low, seq[middle:high] + seq[low:middle])
        return move


def _inside(tour: Tour, nodes: list[int]) -> float:
    rows = tour.rows
    return sum(rows[a][b] for a, b in pairwise(nodes))

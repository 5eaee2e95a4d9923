"""Link prices seen against the cheapest assignment: what each link costs more than it must.

Every object has one link in and one out. The cheapest choice of them all, orders or not, is an
assignment problem; its dual prices taken off, a link shows its excess, and the excess of a tour is
what it costs more than the assignment does (Kuhn 1955; here by shortest augmenting paths).
"""

from __future__ import annotations

import numpy as np

from restitch.model import FloatArray
from restitch.sequence.solver.nodes import Nodes
from restitch.sequence.solver.precedence import Precedence
from restitch.sequence.solver.prices import NEVER


def excess(nodes: Nodes, precedence: Precedence) -> FloatArray:
    """(n + 1, n + 1) excess of the link from object to object, for objects of one option each.

    Row n is the start, column n the end; links that no order can have cost about `NEVER`.
    """
    price = _possible(nodes, precedence)
    out, into = _duals(price)
    left: FloatArray = np.maximum(price - out[:, None] - into, 0.0)
    return left


def _possible(nodes: Nodes, precedence: Precedence) -> FloatArray:
    """The link prices, `NEVER` where the layering leaves no place for the link."""
    n = nodes.count
    at = np.arange(n)
    price = np.full((n + 1, n + 1), NEVER)
    price[:n, :n] = nodes.price(at[:, None], at[None, :])
    ahead, behind = precedence.closure()
    for x in range(n):
        price[x, [y for y in range(n) if (ahead[x] | behind[x]) >> y & 1]] = NEVER
        after = list(precedence.after[x])
        price[x, after] = nodes.price(np.full(len(after), x), np.array(after, np.int64))
    price[n, :n] = np.where([bool(before) for before in precedence.before], NEVER, nodes.into)
    price[:n, n] = np.where([bool(after) for after in precedence.after], NEVER, 0.0)
    np.fill_diagonal(price, NEVER)
    return price


def _duals(price: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Dual prices of the rows and columns of a square assignment problem."""
    n = len(price)
    # row and column 0 are a root to start the paths from
    table = np.zeros((n + 1, n + 1))
    table[1:, 1:] = price
    row, column = np.zeros(n + 1), np.zeros(n + 1)
    taken_by = np.zeros(n + 1, np.int64)
    came_from = np.zeros(n + 1, np.int64)
    for start in range(1, n + 1):
        taken_by[0], here = start, 0
        nearest, seen = np.full(n + 1, np.inf), np.zeros(n + 1, np.bool_)
        while here == 0 or taken_by[here]:
            seen[here] = True
            x = taken_by[here]
            way = table[x] - row[x] - column
            closer = ~seen & (way < nearest)
            nearest[closer], came_from[closer] = way[closer], here
            then = int(np.where(seen, np.inf, nearest).argmin())
            step = nearest[then]
            row[taken_by[seen]] += step
            column[seen] -= step
            nearest[~seen] -= step
            here = then
        while here:
            taken_by[here] = taken_by[came_from[here]]
            here = int(came_from[here])
    return row[1:], column[1:]

"""What going on costs at least: ways of the right length that may meet an object twice.

A way of n steps through the nodes, one a level, is found level by level in no time if it need not
sew every object once. A fine on each object, raised where the cheapest way meets it too often and
lowered where it is missed, brings it near a real order (Lagrangian bound over a state space
relaxed to the number of objects sewn: Christofides, Mingozzi and Toth 1981; ways that turn back
to the object before are left out as they do).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from restitch.model import FloatArray
from restitch.sequence.solver.nodes import Index, Nodes
from restitch.sequence.solver.precedence import Precedence
from restitch.sequence.solver.prices import NEVER

ROUNDS = 60
"""Times the fines are changed at the most (by trial: little is won after)."""
PATIENCE = 8
"""Rounds without a better bound after which the fines change half as much ..."""
LEAST_STEP = 0.02
"""... until they change so little that the rest is not worth its time."""
FIRST_CHARGE = 20.0
"""What a colour change costs in the relaxed way at first; the rest of its price is bounded by the
least number of changes (by trial: about a trim)."""


class Onward(NamedTuple):
    """Prices with fines, and what the rest of an order costs at least, level by level."""

    full: FloatArray
    """(m, m) price of the link and the fine of the object it leads to."""
    price: FloatArray
    """(m, m) the same with `charge` for a colour change in place of its price."""
    into: FloatArray
    """(m,) price of the way from the start and the fine of the first object."""
    charge: float
    """What `price` has in place of the price of a colour change."""
    fines: float
    """Sum of all fines: what an order pays here beside its own price."""
    rest: FloatArray
    """(n + 1, m) least `price` of going on to the end, from each node as the k-th sewn ..."""
    then: Index
    """(n + 1, m) ... the object that is next on that way (-1 at the end) ..."""
    other: FloatArray
    """(n + 1, m) ... and the least price of going on to any other object."""

    def at_least(self, change: float, changes: int) -> float:
        """No order of so many colour changes at such a price, or more, costs less."""
        beside = (change - self.charge) * changes
        return float((self.into + self.rest[1]).min()) - self.fines + beside


def onward_prices(nodes: Nodes, precedence: Precedence, known: float, changes: int) -> Onward:
    """Return the prices of the best bound found.

    ``known``: price of an order at hand. ``changes``: no order has fewer colour changes.
    """
    links = _Links(nodes, precedence)
    owner, n, most = nodes.owner, len(precedence), links.change
    fine, charge, step, waited = np.zeros(n), min(FIRST_CHARGE, most), 1.0, 0
    now = best = links.relaxed(fine, charge)
    kept = fine, charge
    for _ in range(ROUNDS):
        way = _cheapest_way(now, owner, n)
        often = np.bincount(owner[way], minlength=n) - 1.0
        too_many = float((nodes.colour[way[1:]] != nodes.colour[way[:-1]]).sum()) - changes
        if not 0.0 < charge < most:
            too_many = 0.0
        gap, off = known - now.at_least(most, changes), often @ often + too_many * too_many
        if gap <= 0.0 or not off or step < LEAST_STEP:
            break
        fine = fine + step * gap / off * often
        charge = float(np.clip(charge + step * gap / off * too_many, 0.0, most))
        now = links.relaxed(fine, charge)
        waited += 1
        if now.at_least(most, changes) > best.at_least(most, changes):
            best, kept, waited = now, (fine, charge), 0
        elif waited == PATIENCE:
            now, (fine, charge), step, waited = best, kept, step / 2, 0
    return best


class _Links:
    """The link prices, `NEVER` where the layering leaves no place for a link or a node."""

    def __init__(self, nodes: Nodes, precedence: Precedence) -> None:
        n, owner = len(precedence), nodes.owner
        at = np.arange(nodes.count)
        self.owner, self.into = owner, nodes.into
        self.table = nodes.price(at[:, None], at[None, :])
        ahead, behind = precedence.closure()
        after = np.array([[x == y or bool(behind[x] >> y & 1) for y in range(n)] for x in range(n)])
        direct = np.zeros((n, n), np.bool_)
        for x, members in enumerate(precedence.after):
            direct[x, list(members)] = True
        never = after.T | (after & ~direct)
        self.table[never[owner][:, owner]] = NEVER
        self.change = nodes.instance.change_price
        self.changes = nodes.colour[:, None] != nodes.colour
        level = np.arange(n + 1)[:, None]
        first = np.array([b.bit_count() + 1 for b in ahead])[owner]
        last = n - np.array([b.bit_count() for b in behind])[owner]
        # a node is free at the levels that leave room for all that must come before and after it
        self.levels = np.where((level >= first) & (level <= last), 0.0, NEVER)

    def relaxed(self, fine: FloatArray, charge: float) -> Onward:
        """The prices with these fines and this charge for a colour change."""
        owner, levels = self.owner, self.levels
        full = self.table + fine[owner]
        price = full - (self.change - charge) * self.changes if self.change else full
        n, m = len(levels) - 1, len(owner)
        rest, other = np.full((2, n + 1, m), NEVER)
        then = np.full((n + 1, m), -1)
        rest[n] = levels[n]
        every = np.arange(m)
        for k in range(n - 1, 0, -1):
            turns_back = then[k + 1] == owner[:, None]
            way = price + np.where(turns_back, other[k + 1], rest[k + 1])
            pick = way.argmin(axis=1)
            then[k] = owner[pick]
            rest[k] = way[every, pick] + levels[k]
            way[owner == then[k][:, None]] = NEVER
            other[k] = way.min(axis=1) + levels[k]
        into = self.into + fine[owner]
        return Onward(full, price, into, charge, float(fine.sum()), rest, then, other)


def _cheapest_way(onward: Onward, owner: Index, count: int) -> Index:
    """The nodes of the cheapest way."""
    here = int((onward.into + onward.rest[1]).argmin())
    path, before = [here], -1
    for k in range(2, count + 1):
        turns_back = onward.then[k] == owner[here]
        way = onward.price[here] + np.where(turns_back, onward.other[k], onward.rest[k])
        if before >= 0:
            way[owner == before] = NEVER * count
        before, here = int(owner[here]), int(way.argmin())
        path.append(here)
    return np.array(path)

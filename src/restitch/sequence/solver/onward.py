"""A first order where each link has a given price and every object one option: a beam search.

Object by object, from the start or from the end. A partial order is ranked by its excess over the
cheapest assignment and what the rest exceeds it at least: each object still to come needs its
cheapest link that is left, in or out. Of partial orders of the same objects with the same last
one the cheapest is kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from restitch.model import BoolArray, FloatArray
from restitch.sequence.solver.nodes import Index
from restitch.sequence.solver.precedence import Precedence

WORK = 8_000_000
"""Partial orders kept times the square of the objects (our choice: about a second)."""

WIDEST = 1_500
"""Partial orders kept at the most (our choice)."""


def onward_orders(table: FloatArray, precedence: Precedence) -> list[list[int]]:
    """Return the orders found from the start on and from the end back.

    ``table``: the excess of each link, (n + 1, n + 1) with the start and the end last.
    """
    width = min(WIDEST, max(1, WORK // len(table) ** 2))
    return [
        _searched(table, precedence, width),
        _searched(table.T.copy(), precedence.reversed(), width)[::-1],
    ]


class _Cheapest:
    """For partial orders (rows) and objects (columns) the cheapest link left, kept up to date."""

    def __init__(self, table: FloatArray) -> None:
        """``table`` (n, n): price of the links, those of an object in one row."""
        self.ranked = np.argsort(table, axis=1, kind="stable").astype(np.int32)
        self.price = np.take_along_axis(table, self.ranked, axis=1)
        self.pick = np.zeros((1, len(table)), np.int32)

    def update(self, needed: BoolArray, left: BoolArray) -> FloatArray:
        """(w, n) price of the cheapest link of each object to one that is left; 0 where none is
        needed. Objects only ever leave, so picks only ever go on."""
        column = np.arange(needed.shape[1])
        wrong = needed & ~np.take_along_axis(left, self.ranked[column, self.pick], axis=1)
        row, x = np.nonzero(wrong)
        while len(row):
            self.pick[row, x] += 1
            still = ~left[row, self.ranked[x, self.pick[row, x]]]
            row, x = row[still], x[still]
        price: FloatArray = np.where(needed, self.price[column, self.pick], 0.0)
        return price

    def keep(self, rows: Index) -> None:
        """Go on with these partial orders."""
        self.pick = self.pick[rows]


@dataclass(slots=True)
class _Beam:
    """The partial orders kept, one a row."""

    unsewn: BoolArray
    """(w, n + 1); the end, column n, is never sewn."""
    waits: NDArray[np.int32]
    """(w, n) how many direct predecessors of each object are unsewn."""
    last: Index
    """(w,) the last object; n before the first."""
    price: FloatArray
    """(w,) excess so far."""
    sign: Index
    """(w,) a number that tells sets of objects apart."""


def _searched(table: FloatArray, precedence: Precedence, width: int) -> list[int]:
    """The order of least excess found."""
    n = len(precedence)
    follows = np.zeros((n, n), np.int32)
    for before, after in enumerate(precedence.after):
        follows[before, list(after)] = 1
    signs = np.random.default_rng(0).integers(1, 2**62, n)
    into, out = _Cheapest(table.T.copy()), _Cheapest(table)
    beam = _Beam(
        unsewn=np.ones((1, n + 1), np.bool_),
        waits=follows.sum(axis=0, dtype=np.int32)[None],
        last=np.array([n]),
        price=np.zeros(1),
        sign=np.zeros(1, np.int64),
    )
    trail: list[tuple[Index, Index]] = []
    for _ in range(n):
        row, x, price = _grown(beam, table, into, out, signs, width)
        unsewn = beam.unsewn[row]
        unsewn[np.arange(len(row)), x] = False
        beam = _Beam(unsewn, beam.waits[row] - follows[x], x, price, beam.sign[row] ^ signs[x])
        into.keep(row)
        out.keep(row)
        trail.append((row, x))
    return _walk_back(trail, int(beam.price.argmin()))


def _walk_back(trail: list[tuple[Index, Index]], at: int) -> list[int]:
    order = []
    for row, x in reversed(trail):
        order.append(int(x[at]))
        at = int(row[at])
    return order[::-1]


def _grown(
    beam: _Beam,
    table: FloatArray,
    into: _Cheapest,
    out: _Cheapest,
    signs: Index,
    width: int,
) -> tuple[Index, Index, FloatArray]:
    """The most promising next steps: row that goes on, object sewn next, excess with it."""
    every = np.arange(len(beam.last))
    open_ = beam.unsewn.copy()
    open_[every, beam.last] = True
    ending = open_.copy()
    ending[:, -1] = beam.last == len(signs)
    way_in = into.update(beam.unsewn, ending)
    way_out = out.update(ending, beam.unsewn)
    row, x = np.nonzero(beam.unsewn[:, :-1] & (beam.waits == 0))
    price = beam.price[row] + table[beam.last[row], x]
    rest_in = way_in.sum(axis=1)[row] - way_in[row, x]
    rest_out = (way_out.sum(axis=1) - way_out[every, beam.last])[row]
    rank = price + np.maximum(rest_in, rest_out)
    # many of the best are one set with one last object, reached in several ways
    likely = 4 * width
    if len(rank) > likely:
        kept = np.flatnonzero(rank <= np.partition(rank, likely)[likely])
        row, x, price, rank = row[kept], x[kept], price[kept], rank[kept]
    order = np.argsort(rank, kind="stable")
    same = (beam.sign[row] ^ signs[x])[order] * (len(signs) + 1) + x[order]
    order = order[np.sort(np.unique(same, return_index=True)[1])][:width]
    return row[order], x[order], price[order]

"""What the solver is asked and what it answers: plain numbers, no stitches."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from restitch.model import FloatArray


@dataclass(frozen=True, slots=True)
class Weights:
    """Price of one colour change, one trim and one millimetre of jump travel.

    The defaults are our choice: a change halts the machine for about as long as 15 trims.
    """

    colour: float = 300.0
    trim: float = 20.0
    travel: float = 1.0


class Wish(NamedTuple):
    """A soft wish about the order, priced link by link (so the search evaluates it for free).

    A link from object a to object b costs
    ``back * max(0, rank[a] - rank[b]) + apart * (area[a] != area[b])`` on top of its price.
    Centre-out: rank = distance from the centre in mm. Bottom-up: rank = height. One area before
    the next: area = number of the area. Prices are in the unit of `Weights`.
    """

    rank: FloatArray | None = None
    """(n,) objects of low rank are wished early; None for no wish."""
    back: float = 0.0
    """Price of each unit of rank that a link goes back."""
    area: NDArray[np.int64] | None = None
    """(n,) label of the area each object lies in; None for no wish."""
    apart: float = 0.0
    """Price of each link from one area to another."""


class Sequence(NamedTuple):
    """An order of the objects and, at each place, the option taken."""

    order: tuple[int, ...]
    option: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Instance:
    """Objects to be put in order. Objects are numbered 0..n-1."""

    colour: tuple[int, ...]
    """Thread of each object."""
    options: tuple[FloatArray, ...]
    """For each object (k, 4): entry x, entry y, exit x, exit y in mm, k >= 1."""
    precedence: tuple[tuple[int, int], ...] = ()
    """Pairs (a, b): a is sewn before b. Acyclic; need not be reduced or closed."""
    weights: Weights = Weights()
    trim_over_mm: float = 3.0
    """A link of one colour longer than this is trimmed."""
    start: tuple[float, float] | None = None
    """Where the needle stands first, mm; the way from there costs travel only."""
    original: Sequence | None = None
    """The order as found (feasible): the result is never worse. Default: 0..n-1, option 0."""
    option_cost_mm: tuple[FloatArray, ...] | None = None
    """For each object (k,): what each option costs by itself, as mm of travel."""
    wish: Wish | None = None
    link_price: FloatArray | None = None
    """(m, m) price of the link from option to option (numbered object by object), in place of
    the geometric one; None to price by colour, trim and travel."""

    def __len__(self) -> int:
        return len(self.colour)

    @property
    def change_price(self) -> float:
        """What a colour change costs; link prices that are given hold it already."""
        return self.weights.colour if self.link_price is None else 0.0


class Solution(NamedTuple):
    """The order found and what it costs."""

    order: tuple[int, ...]
    option: tuple[int, ...]
    """Index of the option of the object at the same place of `order`."""
    cost: float
    """In the unit of `Weights`, option costs and wishes included."""
    colour_changes: int
    trims: int
    travel_mm: float
    lower_bound_changes: int
    """No order has fewer colour changes."""
    proved: bool
    """True where no cheaper solution exists."""

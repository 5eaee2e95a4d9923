"""Who shows where another did: the trades that a new order or new ends bring about."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from restitch.look.bits import Plane
from restitch.look.difference import fullest_square, lost_and_won
from restitch.look.laid import NOT_JUDGED
from restitch.look.limits import GuardLimits
from restitch.look.picture import Picture

CLOTH = -2
"""Loser of a trade where cloth was bare before."""


class Trade(NamedTuple):
    """One object shows where another object, or cloth, did."""

    winner: int
    loser: int
    """Object id, or `CLOTH`."""
    square_mm2: float
    """The most of it in any 1 mm square."""


def trades(
    before: Picture, after: Picture, excepted: Plane | None, limits: GuardLimits
) -> tuple[Trade, ...]:
    """Return the trades that the eye finds, by winner and loser."""
    _, won = lost_and_won(before, after, excepted, limits.compare.tolerance)
    owner_of = np.append(CLOTH, before.thread.owner_of_slot)
    loser = owner_of[before.slots.reshape(-1)[won.flat]]
    pairs, inverse = np.unique(np.stack([won.owner, loser], axis=1), axis=0, return_inverse=True)
    found = []
    for at, (winner, lost_by) in enumerate(pairs.tolist()):
        pixels = won.flat[inverse.reshape(-1) == at]
        square = fullest_square(pixels, before.frame, limits)
        if square >= limits.square_mm2 and winner != NOT_JUDGED:
            found.append(Trade(winner, lost_by, square))
    return tuple(found)

"""The search: random changes in batches, worse ones accepted ever more seldom."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from restitch.sequence.solver.merge import merge
from restitch.sequence.solver.moves import (
    Move,
    exchange,
    exchange_in_reach,
    exchange_pieces,
    exchange_runs,
    insert,
    move_segment,
    reverse,
    reverse_pieces,
    reverse_runs,
    turn,
)
from restitch.sequence.solver.neighbours import Near
from restitch.sequence.solver.tour import Tour


class Cooling(NamedTuple):
    """Shares and sizes of the search; all found by trial on made-up designs."""

    hot: float = 0.7
    """Warmth at the beginning, in mean link prices of the first tour ..."""
    cold: float = 0.03
    """... and at the end."""
    moves: tuple[tuple[Move, float], ...] = (
        (insert, 0.30),
        (turn, 0.08),
        (move_segment, 0.17),
        (reverse, 0.12),
        (exchange, 0.04),
        (reverse_runs, 0.03),
        (exchange_runs, 0.03),
        (reverse_pieces, 0.15),
        (exchange_pieces, 0.10),
    )
    """Sorts of changes and how often each is drawn."""
    look_every: int = 8
    """Rounds between two looks whether the tour is the best so far."""


ONE_WAY = Cooling(
    hot=0.3,
    cold=0.05,
    moves=((insert, 0.15), (exchange_in_reach, 0.85)),
)
"""Where a link costs another price backwards (link prices given, as in sequential ordering
problems) turning a stretch seldom pays and exchanges carry the search (by trial on TSPLIB)."""


def anneal(
    tour: Tour, near: Near, rounds: int, times: int, seed: int, cooling: Cooling | None = None
) -> list[int]:
    """Cool all sequences side by side for so many rounds, each of which draws a change for every
    place so many times, and put together what each got right; return the best path met."""
    cooling = cooling or Cooling()
    random = np.random.default_rng(seed)
    moves, shares = zip(*cooling.moves, strict=True)
    picks = random.choice(len(moves), rounds, p=np.array(shares) / sum(shares))
    anchors = tour.anchors(times)
    scale = _mean_link(tour)
    best, kept = np.inf, tour.path()
    for number, pick in enumerate(picks.tolist(), 1):
        warmth = scale * cooling.hot * (cooling.cold / cooling.hot) ** (number / rounds)
        moves[pick](tour, near, random, warmth, anchors)
        if number % cooling.look_every == 0:
            cost = float(tour.costs().min())
            if cost < best:
                best, kept = cost, tour.path()
    merge(tour)
    return tour.path() if float(tour.costs().min()) < best else kept


def _mean_link(tour: Tour) -> float:
    """Mean price of the links without colour change."""
    colour = tour.colour[tour.seq]
    same = tour.link[:-1][(colour[1:] == colour[:-1]) & (colour[1:] >= 0)]
    return float(same.mean()) if len(same) else 0.0

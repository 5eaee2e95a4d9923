"""The search: random changes in batches, worse ones accepted ever more seldom."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from restitch.sequence.solver.moves import Move, exchange, insert, move_segment, reverse
from restitch.sequence.solver.neighbours import Near
from restitch.sequence.solver.tour import Tour


@dataclass(frozen=True, slots=True)
class Cooling:
    """Shares and sizes of the search; all found by trial on made-up designs."""

    hot: float = 1.0
    """Warmth at the beginning, in mean link prices of the first tour ..."""
    cold: float = 0.05
    """... and at the end."""
    moves: tuple[tuple[Move, float], ...] = (
        (insert, 0.55),
        (move_segment, 0.20),
        (reverse, 0.20),
        (exchange, 0.05),
    )
    """Sorts of changes and the share of rounds given to each."""
    look_every: int = 8
    """Rounds between two looks whether the tour is the best so far."""


def anneal(
    tour: Tour, near: Near, rounds: int, changes: int, seed: int, cooling: Cooling | None = None
) -> None:
    """Improve the tour in place by so many rounds of so many changes each."""
    cooling = cooling or Cooling()
    random = np.random.default_rng(seed)
    scale = _mean_link(tour)
    best, kept = tour.cost(), (tour.seq.copy(), tour.place.copy(), tour.link.copy())
    moves = [move for move, _ in cooling.moves]
    picks = random.choice(len(moves), rounds, p=[share for _, share in cooling.moves])
    for number, pick in enumerate(picks.tolist(), 1):
        warmth = scale * cooling.hot * (cooling.cold / cooling.hot) ** (number / rounds)
        moves[pick](tour, near, random, warmth, changes)
        if (number % cooling.look_every == 0 or number == rounds) and tour.cost() < best:
            best, kept = tour.cost(), (tour.seq.copy(), tour.place.copy(), tour.link.copy())
    tour.seq, tour.place, tour.link = kept


def _mean_link(tour: Tour) -> float:
    """Mean price of the links without colour change."""
    colour = np.append(tour.prices.nodes.colour, [-1, -1])[tour.seq]
    same = tour.link[colour[1:] == colour[:-1]]
    return float(same.mean()) if len(same) else 0.0

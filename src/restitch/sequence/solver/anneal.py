"""The search: random changes in batches, worse ones accepted ever more seldom."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from restitch.sequence.solver.moves import (
    Move,
    exchange,
    exchange_in_reach,
    exchange_runs,
    exchange_pieces,
    reverse_pieces,
    insert,
    move_segment,
    reverse,
    reverse_runs,
    turn,
)
from restitch.sequence.solver.neighbours import Near
from restitch.sequence.solver.tour import Tour


@dataclass(frozen=True, slots=True)
class Cooling:
    """Shares and sizes of the search; all found by trial on made-up designs."""

    hot: float = 0.6
    """Warmth at the beginning, in mean link prices of the first tour ..."""
    cold: float = 0.05
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
    """Sorts of changes and the share of rounds given to each."""
    few_objects: int = 150
    """Up to so many objects the rounds are spent on two coolings, the second from the best tour
    of the first: one may freeze in a poor order of colours."""
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
    tour: Tour, near: Near, rounds: int, changes: int, seed: int, cooling: Cooling | None = None
) -> None:
    """Improve the tour in place by so many rounds of so many changes each."""
    cooling = cooling or Cooling()
    random = np.random.default_rng(seed)
    scale = _mean_link(tour)
    times = 2 if tour.count <= cooling.few_objects else 1
    for _ in range(times):
        _cool(tour, near, rounds // times, changes, random, scale, cooling)


def _cool(
    tour: Tour,
    near: Near,
    rounds: int,
    changes: int,
    random: np.random.Generator,
    scale: float,
    cooling: Cooling,
) -> None:
    """One cooling from hot to cold; the tour is left as the best one met."""
    best, kept = tour.cost(), tour.state()
    moves = [move for move, _ in cooling.moves]
    anchors = np.tile(np.arange(1, tour.count + 1), -(-changes // tour.count))
    picks = random.choice(len(moves), rounds, p=np.array([share for _, share in cooling.moves]) / sum(share for _, share in cooling.moves))
    for number, pick in enumerate(picks.tolist(), 1):
        warmth = scale * cooling.hot * (cooling.cold / cooling.hot) ** (number / rounds)
        moves[pick](tour, near, random, warmth, anchors)
        if (number % cooling.look_every == 0 or number == rounds) and tour.cost() < best:
            best, kept = tour.cost(), tour.state()
    tour.restore(kept)


def _mean_link(tour: Tour) -> float:
    """Mean price of the links without colour change."""
    colour = tour.colour[tour.seq]
    same = tour.link[colour[1:] == colour[:-1]]
    return float(same.mean()) if len(same) else 0.0

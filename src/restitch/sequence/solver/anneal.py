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
    choices: int = 20
    press: float = 1.0
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
    """Return the best path met in so many rounds; each draws a change for every place so many
    times.

    Several tours are cooled side by side; now and then the dear ones are replaced by copies of
    the cheap ones, as their warmth has it (population annealing: Hukushima and Iba 2003).
    """
    cooling = cooling or Cooling()
    random = np.random.default_rng(seed)
    hot, cold = _mean_link(tour) * np.array([cooling.hot, cooling.cold])
    moves, shares = zip(*cooling.moves, strict=True)
    picks = random.choice(len(moves), rounds, p=np.array(shares) / sum(shares))
    anchors = tour.anchors(times)
    best, kept = np.inf, tour.path()
    last = hot
    for number, pick in enumerate(picks.tolist(), 1):
        warmth = hot * (cold / hot) ** (number / rounds) if hot else 0.0
        moves[pick](tour, near, random, warmth, anchors)
        if number % cooling.look_every == 0 or number == rounds:
            costs = tour.costs()
            if costs.min() < best - 1e-9:
                best, kept = float(costs.min()), tour.path()
        if tour.copies > 1 and number % max(1, rounds // cooling.choices) == 0:
            tour.take(_survivors(costs_now(tour), cooling.press * (1 / warmth - 1 / last), random))
            last = warmth
    return kept


def costs_now(tour): return tour.costs()


def _survivors(costs, colder, random):
    """Which tours go on: each as often as its price at the lower warmth has it."""
    weight = np.exp((costs.min() - costs) * colder)
    share = np.cumsum(weight) / weight.sum()
    n = len(costs)
    return np.minimum(np.searchsorted(share, (np.arange(n) + random.random()) / n), n - 1)


def _mean_link(tour: Tour) -> float:
    """Mean price of the links without colour change."""
    colour = tour.colour[tour.seq]
    same = tour.link[:-1][(colour[1:] == colour[:-1]) & (colour[1:] >= 0)]
    return float(same.mean()) if len(same) else 0.0

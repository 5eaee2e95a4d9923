"""Least-cost labels: every stroke is run, dense ladder or open ladder, judged as one sequence."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from restitch.infer.links import Links, link_cost, mean_of_five, turn_cost
from restitch.infer.settings import Settings
from restitch.infer.strokes import Strokes
from restitch.model import BoolArray, FloatArray

CostArray = NDArray[np.float32]

RUN, DENSE_LEFT, DENSE_RIGHT, OPEN_LEFT, OPEN_RIGHT = range(5)
STATES = 5
IS_DENSE = np.array([False, True, True, False, False])
IS_OPEN = np.array([False, False, False, True, True])


class Labels(NamedTuple):
    """The label of each stroke and how clear it is."""

    state: NDArray[np.int8]
    """(s,) one of the five states."""
    margin: FloatArray
    """(s,) cost of the best sequence with another reading (run, dense, open) of this stroke, less
    that of the best one: 0 is a toss-up."""
    capped: BoolArray
    """(s - 1,) the link to the next stroke pays the cap: a new ladder starts there."""


def label_strokes(strokes: Strokes, links: Links, settings: Settings) -> Labels:
    """The labels of least total cost over the whole sequence of strokes."""
    if not len(strokes):
        return Labels(np.zeros(0, np.int8), np.zeros(0), np.zeros(0, bool))
    own = _stroke_costs(strokes, links, settings)
    moves = _move_costs(links, settings)
    total = _best_totals(own, moves, settings)
    state = total.argmin(axis=1).astype(np.int8)
    group = np.stack([total[:, 0], total[:, 1:3].min(axis=1), total[:, 3:5].min(axis=1)], axis=1)
    group.sort(axis=1)
    stays = moves[np.arange(len(moves)), state[:-1], state[1:]] if len(moves) else np.zeros(0)
    capped = (state[:-1] == state[1:]) & (state[1:] != RUN) & (stays >= settings.link_cap - 1e-4)
    return Labels(state, (group[:, 1] - group[:, 0]).astype(np.float64), capped)


def retraces(strokes: Strokes, links: Links) -> BoolArray:
    """(s,) strokes sewn back over the one before: bean stitch, double run."""
    back = np.zeros(len(strokes), bool)
    ok = links.joined
    if len(strokes) > 2:
        h, mean = links.raw_advance_mm, mean_of_five(links.raw_advance_mm, ok)
        length = np.hypot(*strokes.chord.T)
        still = (
            (np.abs(h[:-1] + h[1:]) < 0.09)
            & (np.abs(mean[1:]) < 0.035)
            & (links.turn_cosine[:-1] < -0.8)
            & (links.turn_cosine[1:] < -0.8)
        )
        aside = np.abs(strokes.middle[2:] - strokes.middle[:-2])
        moved = np.hypot(*aside.T) > 0.3 * length[1:-1]
        back[1:-1] = still & moved & ok[:-1] & ok[1:]
    over = np.concatenate([[0], np.cumsum(strokes.back)])
    return back | (over[strokes.v1 + 1] > over[strokes.v0])


def _stroke_costs(strokes: Strokes, links: Links, settings: Settings) -> CostArray:
    """(s, 5) what each stroke costs in each state."""
    straight = np.hypot(*strokes.chord.T) / np.maximum(strokes.path_mm, 1e-6)
    again = retraces(strokes, links)
    count = strokes.count
    run = np.asarray(settings.run_costs)[np.minimum(count, len(settings.run_costs)) - 1]
    run = np.where(again, settings.retrace_run_cost, run)
    dense = 4 * np.clip((0.97 - straight) / 0.1, 0, 1.5) + settings.retrace_dense_cost * again
    open_ = settings.open_cost + 2 * np.clip((0.9 - straight) / 0.2, 0, 1.5)
    return np.stack([run, dense, dense, open_, open_], axis=1).astype(np.float32)


def _move_costs(links: Links, settings: Settings) -> CostArray:
    """(s - 1, 5, 5) cost of going from one state to the next over each link."""
    moves = np.full((len(links.joined), STATES, STATES), settings.switch_cost, np.float32)
    ladder = {
        DENSE_LEFT: link_cost(links, settings.dense, 1, settings),
        DENSE_RIGHT: link_cost(links, settings.dense, -1, settings),
        OPEN_LEFT: link_cost(links, settings.open, 1, settings),
        OPEN_RIGHT: link_cost(links, settings.open, -1, settings),
    }
    for state, cost in ladder.items():
        moves[:, state, state] = cost
    dense_turn, open_turn = turn_cost(links, settings.dense), turn_cost(links, settings.open)
    moves[:, DENSE_LEFT, DENSE_RIGHT] = settings.turn_back_cost + dense_turn
    moves[:, DENSE_RIGHT, DENSE_LEFT] = settings.turn_back_cost + dense_turn
    moves[:, OPEN_LEFT, OPEN_RIGHT] = settings.turn_back_cost + open_turn
    moves[:, OPEN_RIGHT, OPEN_LEFT] = settings.turn_back_cost + open_turn
    for dense in (DENSE_LEFT, DENSE_RIGHT):
        for open_ in (OPEN_LEFT, OPEN_RIGHT):
            moves[:, dense, open_] += dense_turn / 2
            moves[:, open_, dense] += dense_turn / 2
    like_a_ladder = np.minimum.reduce(list(ladder.values())) < 1.0
    moves[:, RUN, RUN] = np.where(like_a_ladder, settings.run_stays_cost, 0.0)
    moves[~links.joined, :, RUN] = 0.0
    moves[~links.joined, :, RUN + 1 :] = settings.switch_cost
    return moves


def _best_totals(own: CostArray, moves: CostArray, settings: Settings) -> CostArray:
    """(s, 5) cost of the best whole sequence that has each stroke in each state.

    The sequence is cut into about sqrt(s) / 2 blocks that run side by side, each warmed up over
    the strokes before and after it, so that the loop is over 2 sqrt(s) steps and not over strokes.
    """
    n = len(own)
    size = max(int(2 * np.sqrt(n)), 1)
    blocks = -(-n // size)
    pad = settings.warm_up
    span = size + 2 * pad
    stroke = np.arange(span)[:, None] - pad + np.arange(blocks) * size
    inside = (stroke >= 0) & (stroke < n)
    # blocks last: numpy runs along them
    cost = np.ascontiguousarray((own.T[:, np.clip(stroke, 0, n - 1)] * inside).swapaxes(0, 1))
    start = np.full((1, STATES, STATES), settings.switch_cost, np.float32)
    start[:, :, RUN] = 0.0
    links = np.concatenate([moves, start]).reshape(n, STATES * STATES)
    link = np.where(inside[1:] & inside[:-1], stroke[:-1], n - 1)

    def over(step: int) -> CostArray:
        """(5, 5, blocks) moves from a step to the next; outside the sequence a fresh start."""
        # whole rows are taken and laid out anew: faster than taking column by column
        return np.ascontiguousarray(links.take(link[step], axis=0).T).reshape(
            STATES, STATES, blocks
        )

    total = np.empty((span, STATES, blocks), np.float32)
    total[0] = cost[0] + start[0, 0, :, None]
    for step in range(span - 1):
        best = (total[step][:, None] + over(step)).min(axis=0)
        total[step + 1] = best - best.min(axis=0) + cost[step + 1]
    behind = np.zeros((STATES, blocks), np.float32)
    for step in range(span - 2, -1, -1):
        best = (over(step) + (behind + cost[step + 1])).min(axis=1)
        behind = best - best.min(axis=0)
        total[step] += behind
    return total[pad : pad + size].transpose(2, 0, 1).reshape(-1, STATES)[:n]

"""Parts cut from a larger instance, as the benchmark does."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from restitch.sequence.solver import Instance, Sequence, solve

sys.path.insert(0, str(Path(__file__).parents[3] / "benchmarks"))

from sequence_parts import parts_of


def test_a_part_keeps_near_objects_and_what_the_whole_says_of_their_order():
    """Objects in a row, each before the next but one: a part of four has both pairs."""
    ends = [np.array([[x, 0.0, x + 1, 0.0]]) for x in range(12)]
    before = tuple((x, x + 2) for x in range(10))
    order = tuple(range(0, 12, 2)) + tuple(range(1, 12, 2))
    whole = Instance((0, 1) * 6, tuple(ends), before, original=Sequence(order, (0,) * 12))
    for part in parts_of(whole, 4, 5):
        at = [int(rows[0, 0]) for rows in part.options]
        assert at == list(range(at[0], at[0] + 4))
        assert part.colour == tuple(x % 2 for x in at)
        assert part.precedence == ((0, 2), (1, 3))
        assert part.original is not None
        sewn = [at[x] for x in part.original.order]
        assert sewn == sorted(sewn, key=order.index)
        assert solve(part).proved


def test_pairs_over_objects_left_out_are_kept():
    away = [0.0, 50.0, 1.0]
    ends = tuple(np.array([[x, 0.0, x, 0.0]]) for x in away)
    whole = Instance((0, 0, 0), ends, ((0, 1), (1, 2)))
    assert ((0, 1),) in [part.precedence for part in parts_of(whole, 2, 8)]

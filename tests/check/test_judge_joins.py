"""Far joins and needless colour changes, on hand-made plans and on invented designs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from restitch.check.judge_joins import JoinRules, joins, needless_blocks, scatter
from restitch.model import Kind, Role
from stitched import column, sewn


def columns(turned: bool):
    """Six columns side by side, sewn to and fro, or all from the same end."""
    strokes = [
        column(20, 2, y=4.0 * i) if not turned or i % 2 == 0 else column(20, 2, y=4.0 * i)[::-1]
        for i in range(6)
    ]
    return sewn(*[(Kind.SATIN, [(Role.TOP, xy)]) for xy in strokes])[0]


def test_columns_all_sewn_from_one_end_are_joined_far() -> None:
    found = joins(columns(turned=False))
    assert found is not None
    # 20 mm along and 4 mm across to the far end, 4 mm across to the near one
    assert found.way_mm == pytest.approx(5 * np.hypot(20, 4), rel=0.05)
    assert found.near_mm == pytest.approx(5 * 4, rel=0.05)
    assert found.far > JoinRules().far


def test_columns_sewn_to_and_fro_are_not() -> None:
    found = joins(columns(turned=True))
    assert found is not None
    assert found.far < 0.2


def test_nothing_to_join() -> None:
    assert joins(columns(turned=True)[:1]) is None


def test_scatter_is_the_way_against_the_way_to_the_nearest() -> None:
    plan = columns(turned=True)
    assert scatter(plan) == pytest.approx(1.0)
    # 0 3 1 4 2 5: steps of 3 and 2 columns instead of 1
    mixed = [plan[i] for i in (0, 3, 1, 4, 2, 5)]
    assert scatter(mixed) == pytest.approx((3 + 2 + 3 + 2 + 3) / 5)


def threaded(*threads):
    plan = columns(turned=True)[: len(threads)]
    return [
        replace(o, thread=t, block=i) for i, (o, t) in enumerate(zip(plan, threads, strict=True))
    ]


def test_a_thread_taken_up_again_is_needless_unless_something_lies_between() -> None:
    plan = threaded(0, 1, 0)
    assert needless_blocks(plan, ()) == (2,)
    # the middle one lies over the first: the last may still be sewn before it
    assert needless_blocks(plan, [(0, 1)]) == (2,)
    assert needless_blocks(plan, [(0, 1), (1, 2)]) == ()
    assert needless_blocks(threaded(0, 1, 2), ()) == ()

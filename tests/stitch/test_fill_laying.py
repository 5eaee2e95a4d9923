"""Fills laid anew between the edges they have."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.geometry import ladder
from restitch.stitch.fill import fill_stitch_mm, rerowed
from stitched import arc, fill


@given(
    width=st.floats(6, 40),
    height=st.floats(3, 20),
    dense=st.floats(0.16, 0.28),
    slant=st.floats(-1.0, 1.0),
)
@settings(max_examples=40, deadline=None)
def test_a_dense_fill_comes_out_at_the_spacing_asked_for(width, height, dense, slant):
    before = fill(width, height, dense, slant=slant)
    after = rerowed(ladder(before), 0.42, 4.0)
    assert after is not None
    rows = ladder(after)
    assert rows.fill_spacing_mm == pytest.approx(0.42, abs=0.05)
    assert (after[[0, -1]] == before[[0, -1]]).all()
    assert len(rows) % 2 == len(ladder(before)) % 2
    # nothing outside the sides it had
    low, high = before.min(axis=0) - 1, before.max(axis=0) + 1
    assert (after >= low).all()
    assert (after <= high).all()


def test_rows_lie_level():
    """Inner holes lie at the level of their row's end: slanted rows bunch at the edges."""
    rows = ladder(rerowed(ladder(fill(30, 10, 0.2)), 0.4, 4.0))
    for first, last in zip(rows.first[2:-2], rows.last[2:-2], strict=True):
        level = rows.xy_mm[first + 1 : last + 1, 1]
        assert np.ptp(level) <= 0.11


def test_holes_line_up_on_every_fourth_row_only():
    """Penetrations line up on every fourth row in a usual fill (Printwear, July 2019)."""
    rows = ladder(rerowed(ladder(fill(40, 10, 0.2)), 0.4, 4.0))
    inner = [
        set(np.round(rows.xy_mm[a + 1 : b, 0], 1).tolist())
        for a, b in zip(rows.first, rows.last, strict=True)
    ]
    for step in (1, 2, 3):
        shared = [len(p & q) for p, q in zip(inner[5:-9], inner[5 + step : -9 + step], strict=True)]
        assert sum(shared) == 0
    assert inner[8] & inner[12]


def test_the_stitch_stays_within_what_the_trade_calls_sound():
    assert fill_stitch_mm(ladder(fill(40, 6, stitch=1.8))) == 2.5
    assert fill_stitch_mm(ladder(fill(40, 6, stitch=9.0))) == 5.0
    assert fill_stitch_mm(ladder(fill(40, 6, stitch=3.6))) == pytest.approx(3.6, abs=0.1)


def test_curved_rows_are_left_alone():
    assert rerowed(ladder(arc(radius=10, width=9, spacing=0.2, degrees=300)), 0.4, 4.0) is None


def test_an_arm_sewn_back_beside_another_keeps_both():
    """Two sections in one stretch of rows: up on the left, back down on the right."""
    left, right = fill(12, 10, 0.2), fill(12, 10, 0.2, x=12.5)[::-1]
    before = np.concatenate([left, right])
    after = rerowed(ladder(before), 0.4, 4.0)
    assert after is not None
    assert len(ladder(after)) == pytest.approx(len(ladder(before)) / 2, rel=0.05)
    for part in (after[:, 0] < 120, after[:, 0] > 125):
        assert np.ptp(after[part, 1]) > 90

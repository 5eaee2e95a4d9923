"""Satins laid anew between the rails they have."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.geometry import ladder
from restitch.stitch.satin import relaid_satin, split_strokes
from stitched import arc, column


@given(
    length=st.floats(6, 60),
    width=st.floats(1.2, 6.5),
    dense=st.floats(0.15, 0.3),
    wanted=st.floats(0.38, 0.5),
    angle=st.floats(0, 180),
)
@settings(max_examples=40, deadline=None)
def test_a_dense_column_comes_out_at_the_spacing_asked_for(length, width, dense, wanted, angle):
    before = column(length, width, dense, angle_deg=angle)
    after = relaid_satin(ladder(before), wanted, 7.2)
    # E1: a bare column L long at spacing s has 2 L / s penetrations
    assert len(after) == pytest.approx(2 * length / wanted, abs=max(3, 0.05 * 2 * length / wanted))
    assert (after[0] == before[0]).all()
    assert (after[-1] == before[-1]).all()
    rungs = ladder(after)
    assert rungs.width_mm == pytest.approx(width, abs=0.15)


def test_opening_leaves_the_column_on_the_side_it_left_before():
    for strokes in (80, 81, 82, 83):
        before = column(strokes * 0.1, 3, 0.2)
        after = relaid_satin(ladder(before), 0.4, 7.2)
        assert len(ladder(after)) % 2 == len(ladder(before)) % 2


def test_inside_a_tight_curve_every_second_stitch_is_drawn_back():
    """Pull back every second inner stitch where inner spacing is under 60 % (from memory)."""
    after = relaid_satin(ladder(arc(radius=2.6, width=4, spacing=0.2, degrees=180)), 0.4, 7.2)
    reach = np.hypot(*(after / 10.0).T)
    inner = reach[reach < 2.5]
    short = inner > 0.6 + 0.1 * 4
    assert 0.2 < short.mean() < 0.6
    # drawn back by 15 to 30 % of the stroke
    assert inner[short].max() <= 0.6 + 0.31 * 4


def test_a_straight_column_gets_no_short_stitches():
    after = relaid_satin(ladder(column(30, 4, 0.2)), 0.4, 7.2)
    assert np.ptp(np.abs(after[1:-1, 1])) <= 1


@given(width=st.floats(4.0, 30.0))
@settings(max_examples=40, deadline=None)
def test_split_pieces_are_within_the_limit_so_that_a_second_split_changes_nothing(width):
    points = column(10, width, 0.4) / 10.0
    once = split_strokes(points, 7.2)
    assert np.hypot(*np.diff(once, axis=0).T).max() <= max(7.2, min(width, 7.2)) + 1e-9
    assert np.array_equal(split_strokes(once, 7.2), once)


def test_split_holes_of_neighbouring_strokes_are_staggered():
    split = split_strokes(column(10, 9, 0.4) / 10.0, 7.2)
    holes = split[np.abs(split[:, 1]) < 4][:, 1]
    near = np.abs(np.diff(holes))
    assert np.median(near) > 0.4
    assert len(set(np.round(holes, 1))) >= 3

"""Ladders: rails, widths and spacing measured from needle points."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.geometry import ladder
from stitched import arc, column, fill, run, turned


@given(
    length=st.floats(8, 60),
    width=st.floats(1.0, 9.0),
    spacing=st.floats(0.3, 0.5),
    angle=st.floats(0, 180),
)
@settings(max_examples=40, deadline=None)
def test_a_straight_satin_reads_its_own_width_and_spacing(length, width, spacing, angle):
    rungs = ladder(column(length, width, spacing, angle_deg=angle))
    assert rungs.is_regular
    assert rungs.width_mm == pytest.approx(np.hypot(width, spacing / 2), abs=0.15)
    # 0.1 mm rounding moves every hole by up to 0.07
    assert rungs.satin_spacing_mm == pytest.approx(spacing, rel=0.12)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=15, deadline=None)
def test_end_jitter_is_no_way(seed):
    """Ends moved by 0.1 mm at a dense 0.2 mm spacing do not make the spacing read wider."""
    rng = np.random.default_rng(seed)
    xy = column(30, 3, 0.2)
    jittered = xy + rng.integers(-1, 2, xy.shape)
    assert ladder(jittered).satin_spacing_mm == pytest.approx(0.2, abs=0.05)


def test_e1_penetrations_of_a_bare_column():
    """A column 50 mm long at 0.40 mm spacing has 2 L / s = 250 penetrations (arithmetic; spacing
    as in Printwear, Dec 2016): counted back from the measured spacing."""
    rungs = ladder(column(50, 3, 0.40))
    assert 2 * 50 / rungs.satin_spacing_mm == pytest.approx(250, rel=0.02)


def test_a_curve_reads_its_outer_side():
    rungs = ladder(arc(radius=6, width=3, spacing=0.4, degrees=270))
    assert rungs.satin_spacing_mm == pytest.approx(0.4 * 7.5 / 6, rel=0.05)


def test_a_split_satin_has_the_strokes_of_a_plain_one():
    whole = column(20, 9, 0.4)
    middle = (whole[:-1] + whole[1:]) // 2
    split = np.empty((len(whole) + len(middle), 2), np.int32)
    split[0::2], split[1::2] = whole, middle
    assert len(ladder(split)) == len(ladder(whole))
    assert ladder(split).width_mm == pytest.approx(ladder(whole).width_mm)


@pytest.mark.parametrize("slant", [0.0, 1.0, 2.0])
def test_a_fill_reads_its_row_pitch_whatever_its_edges(slant):
    """Slanted edges stretch the same-side distance, not the pitch along the row normal."""
    rows = ladder(fill(30, 12, 0.4, slant=slant))
    assert rows.fill_spacing_mm == pytest.approx(0.4, abs=0.02)
    assert abs(rows.axis[0]) == pytest.approx(1.0, abs=0.01)


def test_rows_joined_by_edge_steps_are_strokes_of_their_own():
    rows = ladder(fill(30, 12, 0.8, steps=True))
    assert len(rows) == pytest.approx(31, abs=1)
    assert rows.holes_inside.max() >= 5


def test_a_closed_column_is_a_ring_and_an_open_one_is_not():
    assert ladder(arc(degrees=360)).is_ring
    assert not ladder(arc(degrees=300)).is_ring
    assert not ladder(column()).is_ring


def test_a_line_is_no_ladder():
    assert not ladder(run([(0, 0), (40, 0), (40, 30)])).is_regular


@pytest.mark.parametrize("count", [2, 3])
def test_the_smallest_stitching_is_one_stroke_or_two(count):
    xy = np.array([[0, 0], [20, 0], [0, 2]], np.int32)[:count]
    assert len(ladder(xy)) == count - 1


def test_all_points_in_one_hole_do_not_fail():
    rungs = ladder(np.zeros((9, 2), np.int32))
    assert len(rungs) == 1
    assert rungs.width_mm == 0


@given(angle=st.floats(0, 360))
@settings(max_examples=20, deadline=None)
def test_turning_the_cloth_changes_no_measure(angle):
    flat = fill(20, 8, 0.4)
    rows = ladder(turned(flat.astype(float), angle).round().astype(np.int32))
    # turned points are rounded to the file's 0.1 mm again: a third of that step is what is left
    assert rows.fill_spacing_mm == pytest.approx(ladder(flat).fill_spacing_mm, abs=0.033)

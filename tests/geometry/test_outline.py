"""Outlines traced from needle points, checked against shapely's own shapes."""

import numpy as np
import pytest
import shapely

from restitch.geometry import outline
from restitch.model import Kind, Role
from stitched import arc, column, fill, piece, planned, run


def overlap(a, b):
    return a.intersection(b).area / a.union(b).area


def test_a_column_is_its_rectangle():
    shape = outline(planned(Kind.SATIN, piece(column(20, 3))))
    assert overlap(shape, shapely.box(0, -1.5, 20, 1.5)) > 0.97


def test_a_ring_keeps_its_counter():
    shape = outline(planned(Kind.SATIN, piece(arc(radius=6, width=2, degrees=360))))
    ring = shapely.Point(0, 0).buffer(7, quad_segs=64) - shapely.Point(0, 0).buffer(5, quad_segs=64)
    assert overlap(shape, ring) > 0.95
    assert not shape.contains(shapely.Point(0, 0))


def test_a_column_that_crosses_itself_covers_both_arms():
    turn = np.concatenate([arc(radius=6, width=2, degrees=540)])
    shape = outline(planned(Kind.SATIN, piece(turn)))
    assert shape.is_valid
    assert shape.area == pytest.approx(np.pi * (7**2 - 5**2), rel=0.05)


def test_a_fill_is_its_rows_and_sections_that_meet_are_one():
    left, right = fill(10, 10), fill(10, 10, x=10.3)
    shape = outline(planned(Kind.FILL, piece(left), piece(right)))
    assert shape.geom_type == "Polygon"
    assert overlap(shape, shapely.box(0, 0, 20.3, 10)) > 0.95


def test_a_run_is_as_wide_as_its_thread():
    """40 weight thread lies 0.2 mm wide (Mr X Stitch, 'Density is our destiny')."""
    shape = outline(planned(Kind.RUN, piece(run([(0, 0), (30, 0)]))))
    assert shape.area == pytest.approx(30 * 0.2, rel=0.05)


def test_only_visible_stitching_counts():
    under = piece(column(20, 9), Role.UNDERLAY)
    below = piece(column(20, 8), layer=1)
    alone = outline(planned(Kind.SATIN, piece(column(20, 3))))
    shape = outline(planned(Kind.SATIN, under, below, piece(column(20, 3))))
    assert shape.equals(alone)
    assert outline(planned(Kind.SATIN, under)).is_empty


def test_a_thousand_stitches_are_traced_in_a_moment():
    import time

    obj = planned(Kind.SATIN, piece(arc(radius=60, width=4, degrees=350)))
    begin = time.perf_counter()
    outline(obj)
    assert time.perf_counter() - begin < 0.5


@pytest.mark.parametrize(
    ("kind", "lines"),
    [
        (Kind.SATIN, [arc(radius=6, width=2, degrees=200)]),
        (Kind.FILL, [fill(10, 10), fill(7, 4, x=10.3)]),
        (Kind.RUN, [run([(0, 0), (10, 0), (14, 9)])]),
    ],
)
def test_an_outline_does_not_depend_on_the_way_it_is_sewn(kind, lines):
    there = outline(planned(kind, *map(piece, lines)))
    back = outline(planned(kind, *(piece(line[::-1]) for line in reversed(lines))))
    assert there.equals_exact(back, tolerance=0)

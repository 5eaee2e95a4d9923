"""Ways under an object's own cover: along its middle or inside its edge, the shorter way round."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from restitch.sequence.settings import ORDER
from restitch.sequence.ways import CoveredLine, inset_edge
from stitched import units

STRAIGHT = CoveredLine(np.stack([np.arange(0.0, 21.0), np.zeros(21)], axis=1), False)
ANGLE = np.radians(np.arange(0, 360, 10))
ROUND = CoveredLine(10.0 * np.stack([np.cos(ANGLE), np.sin(ANGLE)], axis=1), True)


def spots(*points_mm):
    return tuple(units([p])[0] for p in points_mm)


def laid(line, *ends):
    run = line.run(*spots(*ends))
    assert run is not None
    points = run.points()
    assert len(points) == run.holes
    return np.vstack([units(ends[:1]), points, units(ends[1:])]) / 10


@pytest.mark.parametrize("ends", [((0, 0), (20, 0)), ((20, 0.5), (3, -0.5)), ((4, 1), (16, 1))])
def test_a_run_follows_the_line_in_hidden_stitches(ends) -> None:
    """Underlay stitches of 2 to 3 mm stay hidden (trade rules 2.4)."""
    way = laid(STRAIGHT, *ends)
    steps = np.hypot(*np.diff(way, axis=0).T)
    assert steps.max() <= ORDER.travel_stitch_mm + 0.1
    assert np.abs(way[1:-1, 1]).max() <= 1.0
    assert np.hypot(*(way[-1] - way[0])) <= steps.sum() <= np.hypot(*(way[-1] - way[0])) + 3


def test_a_near_spot_is_reached_by_one_stitch() -> None:
    assert len(laid(STRAIGHT, (5, 0), (7.5, 0))) == 2
    assert len(laid(STRAIGHT, (5, 0), (7.7, 0))) == 3
    # whatever the line: it is not needed
    assert len(laid(STRAIGHT, (5, 90), (7, 90))) == 2


@pytest.mark.parametrize(("off_mm", "reached"), [(4.4, True), (4.6, False)])
def test_a_spot_too_far_off_the_line_is_not_reached(off_mm, reached) -> None:
    for ends in (((2, off_mm), (18, 0)), ((2, 0), (18, off_mm))):
        assert (STRAIGHT.run(*spots(*ends)) is not None) == reached


@pytest.mark.parametrize(("begin", "end"), [(0, 90), (90, 0), (350, 60), (60, 350), (20, 200)])
def test_on_a_closed_line_the_shorter_way_is_taken(begin, end) -> None:
    a, b = ((10 * np.cos(np.radians(d)), 10 * np.sin(np.radians(d))) for d in (begin, end))
    way = laid(ROUND, a, b)
    assert np.abs(np.hypot(*way.T) - 10).max() < 0.3
    turn = abs((end - begin + 180) % 360 - 180)
    length = np.hypot(*np.diff(way, axis=0).T).sum()
    assert length == pytest.approx(np.radians(turn) * 10, rel=0.03)


def test_the_inside_of_an_edge_keeps_off_it_all_round() -> None:
    edge = inset_edge(shapely.box(0, 0, 30, 20))
    assert edge is not None
    assert edge.closed
    ring = shapely.Polygon(edge.xy_mm)
    assert ring.bounds == pytest.approx((0.6, 0.6, 29.4, 19.4), abs=0.05)
    steps = np.hypot(*np.diff(np.vstack([edge.xy_mm, edge.xy_mm[:1]]), axis=0).T)
    # any spot on the edge is near a point of it
    assert steps.max() < 1.2
    assert steps.min() > 0.5


def test_an_area_too_narrow_or_in_two_has_no_single_way_inside() -> None:
    assert inset_edge(shapely.box(0, 0, 30, 1.1)) is None
    waist = shapely.union_all(
        [shapely.box(0, 0, 10, 10), shapely.box(10, 4.6, 20, 5.4), shapely.box(20, 0, 30, 10)]
    )
    assert inset_edge(waist) is None

"""Underlay of columns and fills: kind by width, inside the cover, free choice of ends."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.check.judge_underlay import column_verdict, fill_verdict, zigzag
from restitch.fabrics import default_profile
from restitch.fabrics.model import UnderlayRule
from restitch.geometry import ladder, outline
from restitch.geometry.small import lengths_mm
from restitch.model import Kind, Role
from restitch.stitch.area import fill_underlay
from restitch.stitch.column import column_underlay
from restitch.stitch.inside import inside_way
from stitched import arc, column, fill, piece, planned

RULE = UnderlayRule()
FABRICS = (
    "twill", "denim", "pique", "jersey", "performance", "fleece",
    "terry", "sweater", "cap", "nylon", "leather", "patch",
)  # fmt: skip


@pytest.mark.parametrize("fabric", FABRICS)
@pytest.mark.parametrize("width", [1.0, 2.0, 3.4, 5.0, 8.0])
@pytest.mark.parametrize("ends", [(0, 0), (0, 1), (1, 0), (1, 1)])
def test_underlay_stays_inside_begins_and_ends_where_asked_and_passes_the_judge(
    fabric, width, ends
):
    rule = default_profile(fabric).fabric.underlay
    xy = column(24, width)
    under = column_underlay(ladder(xy), rule, *ends)
    cover = outline(planned(Kind.SATIN, piece(xy)))
    inset = min(rule.inset_mm, 0.42 * width)
    inner = cover.buffer(-inset + 0.12)
    assert all(inner.covers(shapely.Point(p)) for p in under / 10.0)
    for at, end in ((0, ends[0]), (-1, ends[1])):
        assert abs(under[at, 0] / 10 - 24 * end) < 3.7
    steps = lengths_mm(under / 10.0)
    assert steps.max() <= max(width + 3.0, 2.4)
    obj = planned(Kind.SATIN, piece(under, Role.UNDERLAY), piece(xy))
    assert column_verdict(obj) is None


def test_kind_follows_the_width():
    """Centre run below 1.5 mm, edge run above (Images UK, Feb 2022), zigzag from 4 mm."""
    narrow, middle, wide = (ladder(column(24, w)) for w in (1.2, 3.0, 6.0))
    assert np.abs(column_underlay(narrow, RULE)[:, 1]).max() <= 1
    edge = column_underlay(middle, RULE)
    assert np.abs(np.abs(edge[:, 1]) - 9).max() <= 1  # 1.5 - 0.6 inset
    assert zigzag(middle, edge)[0] <= 1
    changes, pitch = zigzag(wide, column_underlay(wide, RULE))
    assert changes >= 10
    assert pitch == pytest.approx(RULE.zigzag_spacing_mm, rel=0.1)


def test_pile_gets_a_second_opposed_zigzag():
    rungs = ladder(column(24, 5))
    once = column_underlay(rungs, RULE, 0, 1)
    twice = column_underlay(rungs, replace(RULE, double_zigzag=True))
    assert len(twice) > len(once) + 8
    # the opposed pass leaves by the end it came in
    assert abs(twice[-1, 0] - once[0, 0]) < 20


def test_on_leather_holes_of_underlay_stay_16_from_the_edge():
    """Inset 1.6 mm (1/16 in) or more on leather (Decorated Apparel Survival Guide)."""
    rule = default_profile("leather").fabric.underlay
    under = column_underlay(ladder(column(24, 6)), rule)
    assert np.abs(under[:, 1]).max() <= 14.5
    narrow = column_underlay(ladder(column(24, 3.4)), rule)
    assert np.abs(narrow[:, 1]).max() <= 1


def test_a_ring_gets_both_edges_and_ends_where_it_began():
    rungs = ladder(arc(radius=8, width=3, degrees=360))
    under = column_underlay(rungs, RULE)
    reach = np.hypot(*(under / 10.0).T)
    assert reach.min() == pytest.approx(7.1, abs=0.15)
    assert reach.max() == pytest.approx(8.9, abs=0.15)
    assert np.hypot(*(under[0] - under[-1])) / 10 < 2.5


shapes = st.sampled_from(
    [
        shapely.box(0, 0, 30, 20),
        shapely.box(0, 0, 30, 20) - shapely.box(10, 6, 20, 14),
        shapely.Polygon([(0, 0), (30, 0), (30, 20), (24, 20), (24, 6), (6, 6), (6, 20), (0, 20)]),
        shapely.Point(0, 0).buffer(12),
    ]
)


@given(shapes, st.floats(0, 180))
@settings(max_examples=25, deadline=None)
def test_fill_underlay_never_leaves_the_area(area, angle):
    axis = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    corner = np.array(area.exterior.coords[0])
    laid = fill_underlay(area, axis, RULE, corner, corner)
    line = np.concatenate([part.xy for part in laid]) / 10.0
    assert area.buffer(0.25).covers(shapely.LineString(line))
    assert lengths_mm(line).max() <= 4.5
    # rows 2.8 mm apart and an edge run: well under a mesh of 1 mm per mm2
    assert 0.2 < lengths_mm(line).sum() / area.area < 1.2


def test_crossing_rows_cross_the_cover():
    laid = fill_underlay(shapely.box(0, 0, 40, 30), np.array([1.0, 0.0]), RULE, (0, 0), (0, 0))
    rows = [part.xy for part in laid if part.role is Role.UNDERLAY][1]
    steps = np.abs(np.diff(rows, axis=0))
    assert (steps[:, 1] > steps[:, 0]).mean() > 0.7
    xs = np.unique(rows[:, 0])
    assert np.median(np.diff(xs)) / 10 == pytest.approx(RULE.crossing_spacing_mm, abs=0.1)


def test_a_laid_fill_underlay_passes_the_judge():
    xy = fill(30, 20)
    obj = planned(Kind.FILL, piece(xy))
    profile = default_profile("fleece")
    assert fill_verdict(obj, profile).fault == "missing"
    area = outline(obj)
    under = fill_underlay(area, ladder(xy).axis, profile.fabric.underlay, xy[0] / 10, xy[0] / 10)
    whole = planned(Kind.FILL, *(piece(part.xy, part.role) for part in under), piece(xy))
    assert fill_verdict(whole, profile) is None


def test_a_way_goes_round_a_hole_and_there_is_none_between_islands():
    area = shapely.box(0, 0, 30, 20) - shapely.box(10, -1, 20, 14)
    way = inside_way(area, (2.0, 2.0), (28.0, 2.0))
    assert way is not None
    assert area.buffer(0.2).covers(shapely.LineString(way))
    assert len(inside_way(area, (2.0, 2.0), (2.0, 18.0))) == 2
    islands = shapely.box(0, 0, 5, 5) | shapely.box(20, 0, 25, 5)
    assert inside_way(islands, (1.0, 1.0), (21.0, 1.0)) is None

"""Shape and parameters of objects, found again from stitching whose parameters are known."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from numpy.random import default_rng

from designs import fill as rows_of
from designs import satin
from designs.art import Area, Column
from designs.fill import Rows
from designs.geometry import Path, arc, ellipse, path, rounded_box
from infer.streams import stream_of
from restitch.infer import infer
from restitch.infer.figures import figures
from restitch.infer.shape import shape_of
from restitch.model import Kind
from stitched import run, units

RNG = default_rng(5)
EDGE_MM = 0.15
"""Outlines and rails are good to the file's 0.1 mm and the half of it that rounding takes."""


def only(*stretches):
    stream = stream_of(*(units(s) for s in stretches))
    (obj,) = infer(stream)
    return obj, figures(stream, obj), shape_of(stream, obj)


def satin_over(column: Column, *kinds: str, spacing=0.4):
    """One column with its underlay as one unbroken stretch."""
    laid = satin.underlay(column, kinds, 2.2, True) if kinds else []
    return only(np.vstack([*laid, satin.rungs(column, spacing, 0.0, RNG)]))


def straight(width, length=30.0) -> Column:
    return Column.ribbon(path((0, 0), (length, 0)), width)


def test_a_tapered_column_knows_its_rails_and_its_width_all_along() -> None:
    obj, found, shape = satin_over(straight([1.0, 5.0]))
    assert obj.kind is Kind.SATIN
    left, right = shape.rails_mm
    for rail, side in ((left, -1), (right, 1)):
        sign = side if np.median(rail[:, 1]) * side > 0 else -side
        true = sign * (0.5 + 2.0 * rail[:, 0] / 30)
        assert np.abs(rail[2:-2, 1] - true[2:-2]).max() < EDGE_MM
    along = np.linspace(1.0, 5.0, len(shape.widths_mm))
    assert np.abs(shape.widths_mm - along)[2:-2].max() < 2 * EDGE_MM
    assert found.column_width_mm == pytest.approx(3.0, abs=0.15)


@pytest.mark.parametrize("width", [1.5, 3.0, 6.0])
@pytest.mark.parametrize("spacing", [0.35, 0.40, 0.45])
def test_width_and_spacing_of_a_bent_column(width: float, spacing: float) -> None:
    column = Column.ribbon(arc(0, 0, 20, 20, 0, 120), width)
    _, found, shape = satin_over(column, spacing=spacing)
    assert found.column_width_mm == pytest.approx(width, abs=0.15)
    # spacing holds on the centre line; the reader measures the outer side, as the eye does
    assert found.spacing_mm == pytest.approx(spacing * (20 + width / 2) / 20, rel=0.06)
    assert found.length_mm == pytest.approx(20 * np.radians(120), rel=0.03)
    assert _alike(shape.outline, column.outline) > 0.93


def test_a_ring_is_read_with_its_counter_open() -> None:
    column = Column.ribbon(ellipse(0, 0, 12, 9), 2.4, closed=True)
    _, _, shape = satin_over(column)
    assert _alike(shape.outline, column.outline) > 0.9
    assert not shape.outline.contains(shapely.Point(0, 0))


HOLED = Area((rounded_box(-15, -12, 15, 12, 3), ellipse(3, 0, 5)), 0.0)


def filled(area: Area, spacing=0.4, stitch=4.0, offsets=(0.0, 0.5)) -> Path:
    """The fill's chunks in one, travel between sections included."""
    rows = Rows(spacing / 2, stitch, offsets)
    at = area.rings[0][0]
    laid = rows_of.lay_rows(area.outline, area.angle_deg, rows, at, RNG, "top")
    return np.vstack([c.points for c in laid])


@pytest.mark.parametrize("angle", [0.0, 35.0, 110.0])
def test_a_fill_keeps_its_hole_whatever_its_angle(angle: float) -> None:
    area = Area(HOLED.rings, angle)
    obj, found, shape = only(filled(area))
    assert obj.kind is Kind.FILL
    apart = abs(found.angle_deg - (-angle) % 180)
    turned = abs(found.angle_deg - angle)
    assert min(apart, 180 - apart, turned, 180 - turned) < 2.0
    assert _alike(shape.outline, area.outline) > 0.93
    assert not shape.outline.contains(shapely.Point(3, 0))


@pytest.mark.parametrize("spacing", [0.36, 0.40, 0.50])
@pytest.mark.parametrize("stitch", [3.0, 4.0])
def test_spacing_and_stitch_of_a_fill(spacing: float, stitch: float) -> None:
    _, found, _ = only(filled(Area((rounded_box(0, 0, 36, 20, 2),), 0.0), spacing, stitch))
    assert found.spacing_mm == pytest.approx(spacing, abs=0.02)
    assert found.row_pitch_mm == pytest.approx(spacing / 2, abs=0.01)
    assert found.stitch_mm == pytest.approx(stitch, abs=0.15)


@pytest.mark.parametrize(
    ("offsets", "shift"), [((0.0, 0.5), 0.5), ((0.0, 0.25, 0.5, 0.75), 0.25), ((0.0, 1 / 3), 1 / 3)]
)
def test_a_fill_knows_its_offset_pattern(offsets, shift: float) -> None:
    """Holes of a row lie beside those of the row before by this share of a stitch."""
    area = Area((rounded_box(0, 0, 40, 16, 2),), 0.0)
    _, found, _ = only(filled(area, 0.4, 4.0, offsets))
    assert found.row_offset == pytest.approx(shift, abs=0.05)


LINE = [(0, 0), (20, 6), (38, 0), (44, 14)]


@pytest.mark.parametrize("passes", [1, 2, 3])
@pytest.mark.parametrize("stitch", [1.8, 2.5])
def test_a_run_knows_its_path_its_passes_and_its_stitch(passes: int, stitch: float) -> None:
    once = run(LINE, stitch=stitch) / 10
    if passes == 2:
        sewn = np.vstack([once, once[-2::-1]])
    elif passes == 3:
        sewn = np.vstack([once[:1], *([b, a, b] for a, b in itertools.pairwise(once))])
    else:
        sewn = once
    obj, found, shape = only(sewn)
    assert obj.kind is Kind.RUN
    assert found.passes == passes
    assert found.stitch_mm == pytest.approx(stitch, abs=0.25)
    assert np.abs(shape.path_mm - np.rint(once * 10) / 10).max() < 0.01
    assert shapely.LineString(shape.path_mm).hausdorff_distance(shapely.LineString(LINE)) < 0.3


@pytest.mark.parametrize(
    ("width", "kinds", "names"),
    [
        (1.4, ("centre",), ("centre run",)),
        (3.0, ("edge",), ("edge run",)),
        (5.0, ("edge", "zigzag"), ("edge run", "zigzag")),
        (5.0, ("edge", "dzigzag"), ("edge run", "double zigzag")),
    ],
)
def test_underlay_of_a_column_is_named_and_measured(width: float, kinds, names) -> None:
    """The generator lays it 0.6 mm inside the sides, zigzags 1.8 mm a pair of strokes."""
    _, found, _ = satin_over(straight(width), *kinds)
    assert set(names) <= set(found.underlay)
    for under in found.underlays:
        if under.kind != "centre run":
            assert under.inset_mm == pytest.approx(0.6, abs=0.2)
        if "zigzag" in under.kind:
            assert under.spacing_mm == pytest.approx(1.8, abs=0.15)


def test_underlay_of_a_fill_is_named_and_measured() -> None:
    """Edge run 0.6 mm inside; 13 crossing rows fit into the 38.8 mm at 2.8 mm, spread evenly."""
    area = Area((rounded_box(0, 0, 40, 24, 3),), 0.0)
    inner = area.outline.buffer(-0.6)
    ring = rows_of.edge_run(inner, np.array([0.0, 0.0]), 2.2)[0]
    lattice = rows_of.lay_rows(inner, 90.0, Rows(2.8, 3.0, (0.0,), square=True), ring[-1], RNG, "")
    _, found, _ = only(np.vstack([ring, *(c.points for c in lattice), filled(area)]))
    assert found.underlay == ("edge run", "lattice")
    edge, rows = found.underlays
    assert edge.inset_mm == pytest.approx(0.6, abs=0.25)
    assert rows.spacing_mm == pytest.approx(38.8 / 13, abs=0.1)


def _alike(a, b) -> float:
    return a.intersection(b).area / a.union(b).area

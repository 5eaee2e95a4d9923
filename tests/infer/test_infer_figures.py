"""Figures of objects, against the trade's own arithmetic.

The worked examples are those of published handbooks: coverage by a 0.40 mm two-line course,
stitches per centimetre of satin by width, lines per inch, and stitches per square inch of fill.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from infer.streams import case, stream_of
from restitch.infer import infer
from restitch.infer.document import inspect_document
from restitch.infer.figures import figures
from restitch.model import Kind
from stitched import column, fill, run, turned, units

INCH = 25.4


def only(*stretches):
    stream = stream_of(*stretches)
    (obj,) = infer(stream)
    return obj, figures(stream, obj)


def test_e1_a_50_mm_column_at_0_40_has_250_penetrations() -> None:
    """2 L / s: same side to same side is the spacing."""
    obj, found = only(column(length=50.0, width=3.0, spacing=0.40))
    assert obj.kind is Kind.SATIN
    assert found.stitches == pytest.approx(250, abs=2)
    assert found.spacing_mm == pytest.approx(0.40, abs=0.01)
    assert found.length_mm == pytest.approx(50.0, abs=0.5)
    assert found.column_width_mm == pytest.approx(3.0, abs=0.1)


@pytest.mark.parametrize(("spacing", "per_cm", "per_inch"), [(0.40, 50, 127)])
def test_e2_stitches_per_centimetre_and_inch(spacing, per_cm, per_inch) -> None:
    _, found = only(column(length=10.0, spacing=spacing))
    assert found.by_role["top"] + found.by_role["tie"] == pytest.approx(per_cm, abs=1)
    assert 2 * INCH / found.spacing_mm == pytest.approx(per_inch, rel=0.03)


@pytest.mark.parametrize(
    ("per_cm", "width", "spacing"),
    [
        (44, 2.0, 0.455), (47, 2.0, 0.426), (50, 2.0, 0.400),
        (53, 6.0, 0.377), (57, 6.0, 0.351), (60, 6.0, 0.333),
    ],
)  # fmt: skip
def test_e3_e4_spacing_implied_by_stitches_per_centimetre(per_cm, width, spacing) -> None:
    """A tariff's stitch counts per cm of narrow and of wide satin imply these spacings."""
    _, found = only(column(length=40.0, width=width, spacing=20 / per_cm))
    assert found.spacing_mm == pytest.approx(spacing, abs=0.012)


@pytest.mark.parametrize(("lines", "spacing"), [(63.5, 0.400), (60, 0.423), (65, 0.391)])
def test_e5_lines_per_inch(lines: float, spacing: float) -> None:
    _, found = only(column(length=40.0, spacing=INCH / lines))
    assert found.spacing_mm == pytest.approx(spacing, abs=0.01)


@pytest.mark.parametrize(("per_inch", "step"), [(12, 2.12), (18, 1.41)])
def test_e6_applique_zigzag_is_open(per_inch: int, step: float) -> None:
    """12 to 18 stitches an inch: that far from stitch to stitch, twice it from side to side."""
    obj, found = only(column(length=60.0, width=4.0, spacing=2 * INCH / per_inch))
    assert obj.open
    assert obj.kind is Kind.SATIN
    assert found.spacing_mm / 2 == pytest.approx(step, rel=0.03)


@pytest.mark.parametrize(
    ("stitch", "per_sq_inch"), [(3.0, 1075), (3.5, 922), (4.0, 806), (5.0, 645)]
)
def test_e7_e8_e9_stitches_per_square_inch_of_fill(stitch: float, per_sq_inch: int) -> None:
    """(25.4 / 0.20) (25.4 / stitch): rows lie at half the spacing. Published tariffs of 710 to
    1,032 a square inch (110 to 160 per cm2) and 3 x 313 fit this reading, not the other."""
    obj, found = only(fill(width=40.0, height=20.0, spacing=0.40, stitch=stitch))
    assert obj.kind is Kind.FILL
    assert found.spacing_mm == pytest.approx(0.40, abs=0.01)
    assert found.row_pitch_mm == pytest.approx(0.20, abs=0.005)
    assert found.stitch_mm == pytest.approx(stitch, abs=0.15)
    rate = (INCH / found.row_pitch_mm) * (INCH / found.stitch_mm)
    assert rate == pytest.approx(per_sq_inch, rel=0.06)


@pytest.mark.parametrize("degrees", [0, 30, 90, 135])
def test_a_fill_knows_its_angle(degrees: int) -> None:
    rows = fill(width=25.0, height=20.0, spacing=0.4) / 10
    _, found = only(units(turned(rows, degrees)))
    apart = abs(found.angle_deg - (-degrees) % 180)
    assert min(apart, 180 - apart) < 1.5 or min(abs(found.angle_deg - degrees), 180) < 1.5


def test_a_bean_stitch_is_a_run_of_three_passes() -> None:
    line = run([(0, 0), (30, 4), (60, 0)], stitch=2.5)
    bean = [line[0]]
    for a, b in itertools.pairwise(line):
        bean += [b, a, b]
    obj, found = only(np.array(bean))
    assert obj.kind is Kind.RUN
    assert found.passes == 3
    assert found.stitch_mm == pytest.approx(2.5, abs=0.2)
    assert found.length_mm == pytest.approx(60.5, rel=0.05)


def test_underlay_kinds_are_named() -> None:
    found = case("harbour_shield", 3)
    stream = found.stream(twin=True)
    kinds = {u for o in infer(stream) for u in figures(stream, o).underlay}
    assert {"edge run", "lattice"} <= kinds
    assert kinds & {"centre run", "zigzag"}


def test_the_document_is_plain_data_and_indexes_records() -> None:
    stream = case("rowing", 4).stream()
    objects = infer(stream)
    document = inspect_document(stream, objects)
    assert document["schema"] == 1
    total = sum(p["stop"] - p["start"] for o in document["objects"] for p in o["parts"])
    assert total == len(stream.stitch_index)
    assert {o["kind"] for o in document["objects"]} <= {"satin", "fill", "run"}

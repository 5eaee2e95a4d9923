"""Gaps that the pull of the fabric opens between parts that meet."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.check.findings import gaps
from restitch.check.judge_gaps import SHOWING_MM, seams_that_open
from restitch.check.survey import Survey
from restitch.fabrics.model import FIXES
from restitch.fix import pull
from restitch.geometry import outline
from restitch.model import Kind, Role
from stitched import arc, column, fill, run, sewn


def satin(xy):
    return Kind.SATIN, [(Role.TOP, xy)]


def rows(xy):
    return Kind.FILL, [(Role.TOP, xy)]


def survey_of(*objects, fixes=(), **fields):
    _, context = sewn(*objects, **fields)
    profile = replace(context.profile, fixes=context.profile.fixes | set(fixes))
    return Survey(context.source, tuple(context.objects.values()), profile)


def seams(*objects, **fields):
    survey = survey_of(*objects, **fields)
    return seams_that_open(survey.visible, survey.outlines, survey.profile)


def beside(overlap):
    """Two columns 3 mm wide side by side, their strokes ending at one seam."""
    return satin(column(30, 3)), satin(column(30, 3, y=3 - overlap))


@pytest.mark.parametrize(
    ("fabric", "share", "least"),
    [("twill", 0.10, 0.20), ("jersey", 0.12, 0.30), ("fleece", 0.15, 0.40)],
)
def test_two_columns_that_just_meet_come_apart_by_half_the_pull_of_each(fabric, share, least):
    """At least 10 % of the width is lost on firm cloth, more on knits (course text on pull
    compensation; Jagger): half of it at either side of a column."""
    (seam,) = seams(*beside(0.0), fabric=fabric)
    assert seam.wanted_mm == pytest.approx(max(3 * share, least), abs=0.02)
    assert seam.overlap_mm == pytest.approx(0.0, abs=0.05)
    assert seam.length_mm == pytest.approx(30, abs=2)


@given(overlap=st.floats(-0.15, 1.0), fabric=st.sampled_from(["twill", "jersey", "fleece"]))
@settings(max_examples=30, deadline=None)
def test_a_seam_opens_just_where_the_overlap_is_less_than_the_pull(overlap, fabric):
    found = seams(*beside(overlap), fabric=fabric)
    _, context = sewn(*beside(overlap), fabric=fabric)
    opens = context.profile.compensation_mm(3.0) - overlap
    if abs(opens - SHOWING_MM) > 0.11:
        assert bool(found) == (opens > SHOWING_MM)
    for seam in found:
        assert seam.opens_mm == pytest.approx(opens, abs=0.11)


def test_a_border_that_laps_a_fill_by_a_millimetre_holds_on_every_fabric():
    """Overlap of at least 1 mm under a border on performance wear (Campbell, Images Feb 2022)."""
    border = satin(column(30, 3, x=0, y=-0.5, angle_deg=90))
    for fabric in ("performance", "terry", "leather", "cap"):
        assert not seams(rows(fill(30, 20, x=0.5)), border, fabric=fabric)


def test_a_wanted_space_is_no_seam():
    """At least 1 mm between columns where a space is wanted (compiled training articles)."""
    assert not seams(*beside(-1.0), fabric="terry")


def test_strokes_along_the_seam_are_pushed_to_it_not_drawn_from_it():
    # cloth is drawn in along the stitch and pushed out across it (Campbell, pull and push)
    bar = column(20, 3)
    end_to_end = satin(bar), satin(column(20, 3, x=20))
    assert not seams(*end_to_end, fabric="terry")
    (seam,) = seams(satin(bar), rows(fill(20, 6, y=1.5)), fabric="terry")
    assert seam.objects == (0, 1)
    assert seam.wanted_mm == pytest.approx(0.45 / 2, abs=0.02)


def test_no_cloth_shows_where_a_third_object_lies():
    below = rows(fill(40, 12, x=-5, y=-5))
    assert seams(*beside(0.0), fabric="fleece")
    assert not seams(below, *beside(0.0), fabric="fleece")
    assert not seams(*beside(0.0), satin(column(30, 2, y=1.5)), fabric="fleece")


def test_parts_inside_one_another_and_lines_have_no_seam():
    inner = satin(column(20, 3, x=10, y=10))
    line = Kind.RUN, [(Role.TOP, run([(0, 1.6), (30, 1.6)]))]
    assert not seams(rows(fill(40, 20)), inner, fabric="terry")
    assert not seams(satin(column(30, 3)), line, fabric="terry")
    assert not seams(satin(arc(radius=8, width=3, degrees=360)), fabric="terry")


def test_one_warning_for_two_colours_with_its_figures():
    many = [
        part
        for x in (0, 60, 120)
        for part in (satin(column(30, 3, x=x)), satin(column(30, 3, x=x, y=3)))
    ]
    survey = survey_of(*many, fabric="jersey")
    (found,) = gaps.find(survey)
    assert found.severity == "warning"
    assert found.fix is None
    assert "here and at 2 more" in found.text
    assert "just meet" in found.text
    assert "0.4 mm" in found.text
    assert "CTX" in found.text
    assert "ask for it" in found.text
    assert set(found.objects) == set(range(6))
    x, y = found.place_mm
    assert min(abs(x - middle) for middle in (-60, 0, 60)) < 1
    assert abs(y) < 0.2


def test_pull_asked_for_makes_it_a_fault_and_cures_it():
    survey = survey_of(*beside(0.0), fixes=FIXES, fabric="fleece")
    (found,) = gaps.find(survey)
    assert (found.severity, found.fix) == ("fault", "pull")
    plan, context = sewn(*beside(0.0), fabric="fleece")
    fixed, _ = pull.run(plan, context)
    shapes = {o.id: outline(o) for o in fixed}
    assert not seams_that_open(fixed, shapes, context.profile)


def test_jitter_of_a_file_step_opens_nothing():
    generator = np.random.default_rng(3)
    one, two = column(30, 3), column(30, 3, y=2.75)
    one[:, 1] += generator.integers(-1, 2, len(one), dtype=np.int32)
    assert not seams(satin(one), satin(two), fabric="twill")

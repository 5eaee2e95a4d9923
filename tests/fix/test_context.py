"""Where a change is said to be: millimetres from the middle of the design."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from restitch.fix.context import change_id
from restitch.model import Kind, Role, State
from stitched import run, sewn, units


def corner_run():
    """A line round two sides of a box from (10, 20) to (50, 40) mm: its middle is (30, 30)."""
    return sewn((Kind.RUN, [(Role.TOP, run([(10, 20), (50, 20), (50, 40)]))]))


def test_the_middle_of_the_design_is_that_of_its_needle_points() -> None:
    _, context = corner_run()
    assert context.centre_mm.tolist() == [30, 30]
    # where the needle only passes counts for nothing
    xy = context.source.xy.copy()
    xy[-1] = 5000
    assert replace(context, source=replace(context.source, xy=xy)).centre_mm.tolist() == [30, 30]


@pytest.mark.parametrize(
    ("points", "place", "box"),
    [
        ([(30, 30)], (0, 0), (0, 0, 0, 0)),
        ([(10, 20), (20, 26)], (-15, -7), (-20, -10, -10, -4)),
        ([(45, 31), (49.6, 39.4), (41.2, 33)], (15.4, 5.2), (11.2, 1, 19.6, 9.4)),
    ],
)
def test_a_place_is_told_from_the_middle_with_its_box(points, place, box) -> None:
    _, context = corner_run()
    found = context.place_of(units(points))
    assert found[0] == pytest.approx(place, abs=1e-9)
    assert found[1] == pytest.approx(box, abs=1e-9)


def test_places_are_told_to_a_tenth_of_a_millimetre() -> None:
    _, context = sewn((Kind.RUN, [(Role.TOP, units([(0, 0), (10.1, 0.1)]))]))
    place, box = context.place_of(units([(0, 0), (10.1, 0.1)]))
    for value in (*place, *box):
        assert value == pytest.approx(np.round(value, 1), abs=1e-12)


def test_a_change_is_named_by_its_fix_and_the_first_record_of_its_object() -> None:
    plan, context = corner_run()
    name = change_id("stack", replace(plan[0], first_record=17))
    assert name == "stack-17"
    assert context.state_of(name) is State.APPLIED
    assert replace(context, vetoed=frozenset({name})).state_of(name) is State.VETOED

"""Ties: three short stitches, hidden, that lengthen no jump."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.stitch.ties import tie_in, tie_off
from stitched import column, run, turned

bodies = st.one_of(
    st.floats(0, 360).map(
        lambda a: turned(run([(0, 0), (20, 0)]).astype(float), a).round().astype(np.int32)
    ),
    st.floats(0.8, 6).map(lambda w: column(8, w)),
    st.just(np.array([[5, 7]], np.int32)),
    st.just(np.array([[0, 0], [4, 0], [0, 0], [4, 0], [30, 0]], np.int32)),
)


@given(bodies)
@settings(max_examples=60, deadline=None)
def test_a_tie_is_three_stitches_of_a_sound_length(body):
    """Common practice: 2 to 4 stitches of 0.5 to 1.0 mm; the shortest that forms is 0.3."""
    for line in (
        np.concatenate([tie_in(body), body[:1]]),
        np.concatenate([body[-1:], tie_off(body)]),
    ):
        lengths = np.hypot(*np.diff(line, axis=0).T) / 10
        assert len(lengths) == 3
        assert lengths.min() >= 0.3
        assert lengths.max() <= 1.05


@given(bodies)
@settings(max_examples=30, deadline=None)
def test_a_tie_begins_and_ends_on_the_end_itself(body):
    assert (tie_in(body)[0] == body[0]).all()
    assert (tie_off(body)[-1] == body[-1]).all()


def test_a_tie_lies_inside_the_object():
    line = run([(0, 0), (20, 0)])
    for tie in (tie_in(line), tie_off(line)):
        assert tie[:, 0].min() >= 0
        assert tie[:, 0].max() <= 200
        assert np.abs(tie[:, 1]).max() <= 3


def test_no_hole_of_a_tie_is_used_twice_but_the_end():
    tie = tie_in(run([(0, 0), (20, 0)]))
    assert len(np.unique(tie, axis=0)) == 3
    assert pytest.approx(0.8, abs=0.05) == np.hypot(*(tie[1] - tie[0])) / 10

"""Arithmetic on small arrays against numpy's own functions."""

import subprocess
import sys

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from restitch.geometry.small import distinct, headings, lengths_mm, median, nearest

numbers = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40)
points = st.lists(
    st.tuples(st.integers(-500, 500), st.integers(-500, 500)), min_size=3, max_size=30
)


@given(numbers)
def test_median_is_numpys(values: list[float]) -> None:
    assert median(values) == float(np.median(values))


@given(st.lists(st.integers(-9, 9), max_size=40))
def test_distinct_is_numpys_unique(values: list[int]) -> None:
    array = np.array(values, np.int64)
    assert distinct(array).tolist() == np.unique(array).tolist()


@given(points)
def test_headings_are_the_directions_of_numpys_gradient(places: list[tuple[int, int]]) -> None:
    line = np.array(places, float)
    way = np.gradient(line, axis=0)
    away = np.hypot(way[:, 0], way[:, 1])
    expected = way / np.maximum(away, 1e-9)[:, None]
    assert np.array_equal(headings(line), expected)
    assert np.array_equal(lengths_mm(line), np.hypot(*np.diff(line, axis=0).T))


def test_reading_a_file_loads_no_masked_arrays() -> None:
    """They take a tenth of the time that numpy takes to load, and nothing here masks."""
    code = (
        "import sys; from pathlib import Path; from restitch.files import read_stream\n"
        "from restitch.infer import infer\n"
        "from restitch.infer.document import inspect_document\n"
        "stream = read_stream(Path('fixtures/line-sampler.pes'))\n"
        "inspect_document(stream, infer(stream)); print('numpy.ma' in sys.modules)"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout == "False\n"


@given(points, points)
def test_nearest_is_the_least_distance(places: list[tuple[int, int]], of: list[tuple[int, int]]):
    some, line = np.array(places, float) / 10, np.array(of, float) / 10
    far = np.hypot(*(some[:, None] - line[None]).transpose(2, 0, 1))
    assert np.allclose(far[np.arange(len(some)), nearest(some, line)], far.min(axis=1))

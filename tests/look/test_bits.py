"""Bit planes do what the pixels they stand for would do."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.look import bits


@given(st.integers(0, 2**32 - 1), st.integers(1, 20), st.integers(1, 3), st.integers(1, 7))
@settings(max_examples=100, deadline=None)
def test_growing_takes_every_pixel_of_the_square_around(seed, rows, words, radius):
    """Also of pixels at the edge, whose square is cut off there."""
    mask = np.random.default_rng(seed).random((rows, 64 * words)) < 0.03
    wide = np.pad(mask, radius)
    wanted = np.zeros_like(mask)
    for down in range(2 * radius + 1):
        for right in range(2 * radius + 1):
            wanted |= wide[down : down + rows, right : right + 64 * words]
    grown = bits.dilate(bits.pack(mask), radius)
    assert (grown == bits.pack(wanted)).all()
    assert bits.count(grown) == wanted.sum()


@given(
    st.integers(0, 2**32 - 1), st.integers(1, 20), st.integers(1, 3), st.sampled_from([0, 0.01, 1])
)
@settings(max_examples=50, deadline=None)
def test_a_plane_is_the_same_after_it_was_sent(seed, rows, words, share):
    plane = bits.pack(np.random.default_rng(seed).random((rows, 64 * words)) < share)
    sent = bits.Squeezed.of(plane)
    assert np.array_equal(sent.plane(), plane)
    empty = np.zeros((4000, 60), np.uint64)
    assert len(bits.Squeezed.of(empty).data) < empty.nbytes / 100

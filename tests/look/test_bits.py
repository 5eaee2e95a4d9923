"""Bit planes do what the pixels they stand for would do."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.look import bits


@given(st.integers(0, 2**32 - 1), st.integers(1, 12), st.integers(1, 3), st.integers(1, 7))
@settings(max_examples=60, deadline=None)
def test_growing_takes_every_pixel_of_the_square_around(seed, rows, words, radius):
    shape = (rows + 2 * radius, 64 * words)
    inside = (slice(radius, -radius), slice(radius, -radius))  # a design has a margin
    mask = np.zeros(shape, bool)
    mask[inside] = np.random.default_rng(seed).random(mask[inside].shape) < 0.03
    wanted = np.zeros(shape, bool)
    for down in range(-radius, radius + 1):
        for right in range(-radius, radius + 1):
            wanted |= np.roll(mask, (down, right), axis=(0, 1))
    grown = bits.dilate(bits.pack(mask), radius)
    assert (grown == bits.pack(wanted)).all()
    assert bits.count(grown) == wanted.sum()

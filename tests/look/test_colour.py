"""CIEDE2000 against published test data."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from restitch.look.colour import ciede2000, colour_classes_of, lab
from restitch.model import Thread

# Sharma, Wu, Dalal: "The CIEDE2000 color-difference formula", Color Research and Application 30
# (2005), table 1: L1 a1 b1 L2 a2 b2 difference (pairs chosen for the formula's corners).
PAIRS = [
    (50.0, 2.6772, -79.7751, 50.0, 0.0, -82.7485, 2.0425),
    (50.0, 3.1571, -77.2803, 50.0, 0.0, -82.7485, 2.8615),
    (50.0, 2.8361, -74.0200, 50.0, 0.0, -82.7485, 3.4412),
    (50.0, -1.3802, -84.2814, 50.0, 0.0, -82.7485, 1.0000),
    (50.0, -1.1848, -84.8006, 50.0, 0.0, -82.7485, 1.0000),
    (50.0, -0.9009, -85.5211, 50.0, 0.0, -82.7485, 1.0000),
    (50.0, 0.0, 0.0, 50.0, -1.0, 2.0, 2.3669),
    (50.0, -1.0, 2.0, 50.0, 0.0, 0.0, 2.3669),
    (50.0, 2.4900, -0.0010, 50.0, -2.4900, 0.0009, 7.1792),
    (50.0, 2.4900, -0.0010, 50.0, -2.4900, 0.0010, 7.1792),
    (50.0, 2.4900, -0.0010, 50.0, -2.4900, 0.0011, 7.2195),
    (50.0, 2.4900, -0.0010, 50.0, -2.4900, 0.0012, 7.2195),
    (50.0, -0.0010, 2.4900, 50.0, 0.0009, -2.4900, 4.8045),
    (50.0, -0.0010, 2.4900, 50.0, 0.0011, -2.4900, 4.7461),
    (50.0, 2.5000, 0.0, 50.0, 0.0, -2.5000, 4.3065),
    (50.0, 2.5000, 0.0, 73.0, 25.0, -18.0, 27.1492),
    (50.0, 2.5000, 0.0, 61.0, -5.0, 29.0, 22.8977),
    (50.0, 2.5000, 0.0, 56.0, -27.0, -3.0, 31.9030),
    (50.0, 2.5000, 0.0, 58.0, 24.0, 15.0, 19.4535),
    (50.0, 2.5000, 0.0, 50.0, 3.1736, 0.5854, 1.0000),
    (60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644),
    (63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630),
    (61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731),
    (35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645),
    (22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373),
    (36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146),
    (90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441),
    (6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377),
    (2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082),
]


@pytest.mark.parametrize("pair", PAIRS)
def test_published_pairs(pair: tuple[float, ...]) -> None:
    one, other, difference = np.array(pair[:3]), np.array(pair[3:6]), pair[6]
    assert float(ciede2000(one, other)) == pytest.approx(difference, abs=5e-5)
    assert float(ciede2000(other, one)) == pytest.approx(difference, abs=5e-5)


def test_lab_of_the_srgb_corners() -> None:
    """CIELAB of the sRGB primaries, D65 (Lindbloom's CIE colour calculator, rounded)."""
    expected = [[100, 0, 0], [53.24, 80.09, 67.20], [87.73, -86.18, 83.18], [32.30, 79.19, -107.86]]
    assert lab([0xFFFFFF, 0xFF0000, 0x00FF00, 0x0000FF]) == pytest.approx(
        np.array(expected), abs=0.05
    )


def test_near_threads_share_a_class() -> None:
    threads = [Thread(c) for c in (0x203860, 0xC02020, 0x213961, 0xFFFFFF, 0xC02121, 0x0000FF)]
    assert colour_classes_of(threads) == (0, 1, 0, 3, 1, 5)
    assert colour_classes_of([]) == ()


@given(st.lists(st.integers(0, 0xFFFFFF), min_size=1, max_size=12))
def test_classes_are_stable(colours: list[int]) -> None:
    classes = colour_classes_of([Thread(c) for c in colours])
    assert all(classes[c] == c for c in classes)
    assert all(c <= i for i, c in enumerate(classes))
    twice = colour_classes_of([Thread(c) for c in colours * 2])
    assert twice[: len(colours)] == classes == twice[len(colours) :]

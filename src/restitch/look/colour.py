"""How far apart two thread colours look: CIEDE2000 on sRGB, and threads that count as one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from restitch.model import FloatArray, IntArray, Stream, Thread

SAME_COLOUR = 2.0
"""Threads nearer than this are one colour in the picture (from memory: about the just visible
step; six steps of 255 in every channel make 1.2 to 2.4)."""

_TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
     [0.0193339, 0.1191920, 0.9503041]]
)  # fmt: skip
"""Linear sRGB to CIE XYZ, D65 (IEC 61966-2-1)."""
_WHITE = np.array([0.95047, 1.0, 1.08883])
"""D65, 2 degree observer."""


def lab(rgb: Sequence[int] | IntArray) -> FloatArray:
    """Return CIELAB (n, 3), D65, of colours given as 0xRRGGBB."""
    packed = np.asarray(rgb, dtype=np.int64)
    srgb = np.stack([packed >> 16 & 255, packed >> 8 & 255, packed & 255], axis=-1) / 255
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    xyz = linear @ _TO_XYZ.T / _WHITE
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def ciede2000(one: FloatArray, other: FloatArray) -> FloatArray:
    """Return the CIEDE2000 difference of CIELAB colours (last axis L, a, b), broadcast.

    Formula and test data: Sharma, Wu and Dalal, Color Research and Application 30 (2005), 21-30.
    """
    l1, a1, b1 = (np.asarray(one, dtype=np.float64)[..., i] for i in range(3))
    l2, a2, b2 = (np.asarray(other, dtype=np.float64)[..., i] for i in range(3))
    chroma7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    stretch = 1 + 0.5 * (1 - np.sqrt(chroma7 / (chroma7 + 25.0**7)))
    c1, c2 = np.hypot(a1 * stretch, b1), np.hypot(a2 * stretch, b2)
    h1 = np.degrees(np.arctan2(b1, a1 * stretch)) % 360
    h2 = np.degrees(np.arctan2(b2, a2 * stretch)) % 360
    grey = c1 * c2 == 0
    turn = np.where(grey, 0.0, (h2 - h1 + 180) % 360 - 180)
    turn = np.where(h2 - h1 == 180, 180.0, turn)
    d_hue = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn) / 2)
    mean_l, mean_c = (l1 + l2) / 2, (c1 + c2) / 2
    far = np.abs(h1 - h2) > 180
    mean_h = np.where(grey, h1 + h2, (h1 + h2 + np.where(far, 360, 0)) / 2) % 360
    rad = np.radians
    t = (
        1 - 0.17 * np.cos(rad(mean_h - 30)) + 0.24 * np.cos(rad(2 * mean_h))
        + 0.32 * np.cos(rad(3 * mean_h + 6)) - 0.20 * np.cos(rad(4 * mean_h - 63))
    )  # fmt: skip
    s_l = 1 + 0.015 * (mean_l - 50) ** 2 / np.sqrt(20 + (mean_l - 50) ** 2)
    s_c, s_h = 1 + 0.045 * mean_c, 1 + 0.015 * mean_c * t
    blue = rad(60 * np.exp(-(((mean_h - 275) / 25) ** 2)))
    rotation = -np.sin(blue) * 2 * np.sqrt(mean_c**7 / (mean_c**7 + 25.0**7))
    light, chroma, hue = (l2 - l1) / s_l, (c2 - c1) / s_c, d_hue / s_h
    difference: FloatArray = np.sqrt(light**2 + chroma**2 + hue**2 + rotation * chroma * hue)
    return difference


def colour_classes_of(threads: Sequence[Thread], same: float = SAME_COLOUR) -> tuple[int, ...]:
    """Return the class of each thread: the first thread that looks the same (CIEDE2000 < 2)."""
    if not threads:
        return ()
    colours = lab([thread.rgb for thread in threads])
    near = ciede2000(colours[:, None], colours[None, :]) < same
    found = np.arange(len(threads))
    for i in range(len(threads)):
        found[i] = found[int(np.argmax(near[i]))] if near[i, :i].any() else i
    return tuple(int(c) for c in found)


def classes_of_blocks(source: Stream, fixed: Stream) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return colour classes of the blocks of two streams, equal numbers for equal colours.

    For streams whose format stores colours. Where it does not, only who arranged the blocks can
    say which of them share a thread.
    """
    classes = colour_classes_of((*source.threads, *fixed.threads))
    return classes[: len(source.threads)], classes[len(source.threads) :]

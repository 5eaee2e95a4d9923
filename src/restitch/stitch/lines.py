"""Laying a line of stitches: resampling a path, rounding to the file's grid."""

from __future__ import annotations

import itertools

import numpy as np

from restitch.geometry.small import along_mm, lengths_mm
from restitch.model import UNITS_PER_MM, FloatArray, IntArray


def to_units(points_mm: FloatArray) -> IntArray:
    """(n, 2) needle points in 0.1 mm, without two in the same hole one after the other."""
    points = np.rint(np.asarray(points_mm, np.float64) * UNITS_PER_MM).astype(np.int32)
    fresh = np.ones(len(points), bool)
    fresh[1:] = (np.diff(points, axis=0) != 0).any(axis=1)
    return np.ascontiguousarray(points[fresh])


def at_distance(line_mm: FloatArray, distance_mm: FloatArray) -> FloatArray:
    """(m, 2) points of a line at the given distances from its start."""
    along = along_mm(line_mm)
    return np.stack([np.interp(distance_mm, along, line_mm[:, a]) for a in (0, 1)], axis=1)


def resampled(line_mm: FloatArray, stitch_mm: float, phase: float = 0.0) -> FloatArray:
    """(m, 2) equal stitches of about that length along a line, both ends kept.

    ``phase`` (0..1) shifts the inner holes by that share of a stitch, so that two passes over one
    line do not meet in the same holes.
    """
    length = float(lengths_mm(line_mm).sum())
    count = max(1, int(np.ceil(length / stitch_mm - 1e-6)))
    if count == 1 and phase == 0.0:
        return line_mm[[0, -1]]
    inner = (np.arange(count + 1) + phase) / count
    inner = inner[(inner > 0.2 / count) & (inner < 1.0 - 0.2 / count)]
    return at_distance(line_mm, length * np.concatenate([[0.0], inner, [1.0]]))


def corner_stitches(line_mm: FloatArray, stitch_mm: float, corner_deg: float = 35.0) -> FloatArray:
    """(m, 2) stitches along a line that keep a hole at every corner sharper than that angle."""
    if len(line_mm) < 3:
        return resampled(line_mm, stitch_mm)
    steps = np.diff(line_mm, axis=0)
    heading = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    corners = 1 + np.flatnonzero(np.abs(np.diff(heading)) > np.radians(corner_deg))
    bounds = [0, *corners, len(line_mm) - 1]
    parts = [
        resampled(line_mm[a : b + 1], stitch_mm)[1:] for a, b in itertools.pairwise(bounds) if b > a
    ]
    return np.concatenate([line_mm[:1], *parts])

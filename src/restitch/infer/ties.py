"""Locks at the ends of a thread: a few short stitches that come back to where they began."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from restitch.infer.settings import Settings
from restitch.model import FloatArray


def with_tie_width(
    xy_mm: FloatArray, first: NDArray[np.intp], stop: NDArray[np.intp], settings: Settings
) -> Settings:
    """The settings with wide ties, if that finds ties on chains that have none by narrow ones.

    ``first`` and ``stop`` (c,) are the chains' bounds. A digitizer's locks are all alike: a design
    that was scaled up has wide ones throughout.
    """
    if len(first) < settings.wide_tie_chains:
        return settings
    wide = settings._replace(tie_stitch_mm=settings.wide_tie_mm, tie_reach_mm=settings.wide_tie_mm)
    narrow, wider = (
        float((tie_length(xy_mm, first, 1, stop - first, s, loose=False) > 0).mean())
        for s in (settings, wide)
    )
    found = wider >= settings.wide_tie_many and wider - narrow >= settings.wide_tie_more
    return wide if found else settings


def tie_length(
    xy_mm: FloatArray,
    end: NDArray[np.intp],
    step: int,
    room: NDArray[np.intp],
    settings: Settings,
    *,
    loose: bool = True,
) -> NDArray[np.intp]:
    """How many needle points from each thread end belong to its tie (0: none).

    ``end`` (k,) are the outermost points, ``step`` is 1 for a tie in and -1 for a tie off, and
    ``room`` (k,) says how many points may be looked at. The point the tie returns to is the body's.
    With ``loose`` a cluster of short stitches followed by a long one counts without a return.
    """
    if not len(end):
        return np.zeros(0, np.intp)
    offset = np.arange(settings.tie_points)
    inside = offset < room[:, None]
    at = xy_mm[np.where(inside, end[:, None] + step * offset, end[:, None])]
    away = np.hypot(*(at - at[:, :1]).transpose(2, 0, 1))
    stitch = np.hypot(*np.diff(at, axis=1, prepend=at[:, :1]).transpose(2, 0, 1))
    near = inside & (stitch <= settings.tie_stitch_mm) & (away <= settings.tie_reach_mm)
    near = np.logical_and.accumulate(near, axis=1)
    back = near & (offset >= settings.tie_least) & (away <= settings.tie_return_mm)
    nearest = np.where(back, away, np.inf).min(axis=1)
    chosen = back & (away <= nearest[:, None] + settings.tie_same_mm)
    length = np.where(back.any(axis=1), chosen.argmax(axis=1), 0)
    length = _with_last_stitch(length, nearest, stitch, near, inside, settings)
    if loose:
        length = np.where(length > 0, length, _cluster(stitch, inside, settings))
    return length.astype(np.intp)


def _with_last_stitch(
    length: NDArray[np.intp],
    nearest: FloatArray,
    stitch: FloatArray,
    near: NDArray[np.bool_],
    inside: NDArray[np.bool_],
    settings: Settings,
) -> NDArray[np.intp]:
    """One stitch more where a tie that came back only nearly is left by a short stitch and then a
    long one: star-shaped locks end beside their first point."""
    rows = np.arange(len(length))
    after = np.minimum(length + 1, stitch.shape[1] - 1)
    then = np.minimum(length + 2, stitch.shape[1] - 1)
    nearly = (length > 0) & (nearest > settings.tie_exact_mm)
    goes_on = near[rows, after] & inside[rows, then]
    long = stitch[rows, then] > settings.cluster_next_mm
    return np.where(nearly & goes_on & long & (then > after), length + 1, length)


def _cluster(stitch: FloatArray, inside: NDArray[np.bool_], settings: Settings) -> NDArray[np.intp]:
    """Points of a cluster of short stitches that a longer stitch leaves, else 0."""
    short = (stitch <= settings.cluster_stitch_mm) & inside
    count = np.logical_and.accumulate(short, axis=1).sum(axis=1) - 1
    after = np.minimum(count + 1, stitch.shape[1] - 1)
    rows = np.arange(len(stitch))
    left = inside[rows, after] & (stitch[rows, after] > settings.cluster_next_mm)
    return np.where(left & (count >= settings.tie_least), count, 0)

"""The body of each chain: its needle points without ties, trails and pile-ups."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from restitch.infer.needles import IndexArray, Needles
from restitch.infer.settings import Settings
from restitch.infer.ties import tie_length
from restitch.model import BoolArray


class Ends(NamedTuple):
    """Where ties stop and start in each chain."""

    body_first: IndexArray
    """(c,) first needle point of each chain's body."""
    body_stop: IndexArray
    """(c,) one past the last."""
    tied: BoolArray
    """(c,) the chain starts with a tie (else its lone first point stands in for one)."""


def find_ends(needles: Needles, settings: Settings) -> Ends:
    """Ties at both ends of every chain; an untied chain's first point counts as its tie."""
    first, stop = needles.first, needles.stop
    lead = tie_length(needles.xy_mm, first, 1, stop - first, settings)
    tail = tie_length(needles.xy_mm, stop - 1, -1, stop - first - lead, settings)
    # a lone first point is no tie where nothing would remain of the chain
    body_first = first + np.where(lead > 0, lead, (stop - first > 1).astype(np.intp))
    return Ends(body_first, np.maximum(stop - tail, body_first), lead > 0)


def body_points(needles: Needles, ends: Ends, settings: Settings) -> IndexArray:
    """Needle points that take part in strokes.

    That is the body without points nearer than ``near_mm`` to the one before. The stand-in tie of
    an untied chain takes part: it is the first hole of what follows.
    """
    index = np.arange(len(needles))
    start = np.where(ends.tied, ends.body_first, needles.first)
    keep = (index >= start[needles.chain]) & (index < ends.body_stop[needles.chain])
    step = np.hypot(*np.diff(needles.xy_mm, axis=0, prepend=needles.xy_mm[:1]).T)
    near = step < settings.near_mm
    near[start[start < len(needles)]] = False
    return np.flatnonzero(keep & ~near)

"""Fill or satin: what the strokes of an object say together."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from restitch.infer.needles import IndexArray
from restitch.infer.piece import Piece
from restitch.infer.settings import Settings
from restitch.infer.strokes import Strokes
from restitch.model import FloatArray


class Votes(NamedTuple):
    """Sums over strokes, so that any range of strokes is judged in one step."""

    fill: FloatArray
    """(s + 1,) running sum of votes for fill."""
    doubled: FloatArray
    """(s + 1, 3) running sum of the chords' doubled angle (cosine, sine) and weight."""
    halved: IndexArray
    """(s + 1, 2) running count of long strokes of several stitches, and of those divided evenly."""

    def share(self, pieces: list[Piece], settings: Settings) -> float:
        """Votes for fill per stroke, -1 for a split satin.

        A split satin divides its strokes evenly; a fill's rows are cut where the pattern falls.
        """
        several, even = sum((self.halved[p.s1] - self.halved[p.s0] for p in pieces), np.zeros(2))
        if several >= settings.split_strokes and even > settings.split_share * several:
            return -1.0
        total = sum(float(self.fill[p.s1] - self.fill[p.s0]) for p in pieces)
        return total / max(sum(p.strokes for p in pieces), 1)

    def against(self, pieces: list[Piece], fill: bool) -> float:
        """Share of strokes that vote for the other kind."""
        votes = np.concatenate([np.diff(self.fill[p.s0 : p.s1 + 1]) for p in pieces])
        return float(np.mean(votes < 0 if fill else votes > 0))

    def axis(self, pieces: list[Piece]) -> tuple[float, float]:
        """(angle in radians of the strokes' common axis, how far they agree 0..1)."""
        x, y, w = sum((self.doubled[p.s1] - self.doubled[p.s0] for p in pieces), np.zeros(3))
        return float(np.arctan2(y, x) / 2), float(np.hypot(x, y) / max(w, 1e-9))


def count_votes(strokes: Strokes, settings: Settings) -> Votes:
    """Every stroke's vote: rows of several stitches speak for fill, long single ones against."""
    chord = strokes.chord
    length = np.hypot(*chord.T)
    count = strokes.count
    pieces = length / np.maximum(count, 1)
    vote = np.zeros(len(strokes))
    vote += (count >= 2) & (length < settings.fill_row_mm) & (pieces > settings.fill_least_mm)
    vote += (count >= 3) & (pieces < settings.fill_stitch_mm)
    vote += 0.5 * (count >= 4)
    vote += (count >= 2) & (length > settings.fill_long_row_mm)
    lone = count == 1
    vote -= lone & (length >= settings.satin_from_mm) & (length <= settings.satin_to_mm)
    vote -= 0.4 * (lone & (length > settings.satin_to_mm))
    several = (count >= 2) & (length > settings.split_from_mm)
    even = several & (_evenness(strokes) > settings.split_even) & (length < settings.split_to_mm)
    # rows as long as the one before that are cut into another number of stitches
    alike = np.abs(np.diff(length)) < settings.split_alike * length[1:]
    even[1:] &= ~(alike & (np.diff(count) != 0))
    unit = chord / np.maximum(length, 1e-9)[:, None]
    x, y = unit[:, 0], unit[:, 1]
    doubled = np.stack([(x * x - y * y) * length, 2 * x * y * length, length], axis=1)
    return Votes(
        np.concatenate([[0.0], np.cumsum(vote)]),
        np.concatenate([np.zeros((1, 3)), np.cumsum(doubled, axis=0)]),
        np.concatenate([np.zeros((1, 2), np.intp), np.cumsum(np.stack([several, even], 1), 0)]),
    )


def _evenness(strokes: Strokes) -> FloatArray:
    """(s,) shortest stitch of each stroke over its longest."""
    if not len(strokes):
        return np.zeros(0)
    stitch = np.hypot(*np.diff(strokes.xy_mm, axis=0, append=strokes.xy_mm[-1:]).T)
    bounds = np.stack([strokes.v0, strokes.v1], axis=1).ravel()
    shortest = np.minimum.reduceat(stitch, bounds)[::2]
    longest = np.maximum.reduceat(stitch, bounds)[::2]
    ratio: FloatArray = shortest / np.maximum(longest, 1e-9)
    return ratio


def is_fill(votes: Votes, dense: list[Piece], extra: float, settings: Settings) -> bool:
    """Fill if the rows say so and run one way; ``extra`` adds to the votes per stroke."""
    if not dense:
        return False
    _, agreement = votes.axis(dense)
    share = votes.share(dense, settings) + extra
    return share > settings.fill_share and agreement > settings.fill_agreement


def angle_between(a: float, b: float) -> float:
    """Angle between two axes, 0 to a quarter turn, radians."""
    apart = abs(a - b) % np.pi
    return float(min(apart, np.pi - apart))

"""Laps: a ring's column that is sewn round again in the same sense is a layer of its own."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from restitch.infer.piece import Look, Piece
from restitch.infer.settings import Settings
from restitch.infer.strokes import Strokes
from restitch.model import FloatArray


def split_laps(piece: Piece, strokes: Strokes, settings: Settings) -> list[Piece]:
    """The laps of a dense piece; the piece itself where it goes round once or not at all."""
    least = settings.lap_strokes
    if piece.look != Look.DENSE or piece.strokes < 2 * least:
        return [piece]
    middle = strokes.middle[piece.s0 : piece.s1]
    line = (middle[1:] + middle[:-1]) / 2
    cuts = [0]
    while len(line) - cuts[-1] >= least:
        stop = _lap_end(line[cuts[-1] :], settings)
        if not stop:
            break
        cuts.append(cuts[-1] + stop)
    bounds = [piece.s0 + c for c in cuts] + [piece.s1]
    if len(bounds) == 2:
        return [piece]
    return [Piece(piece.look, piece.chain, a, b, 0, 0) for a, b in pairwise(bounds)]


def _lap_end(line: FloatArray, settings: Settings) -> int:
    """Strokes in the first lap of a centre line that goes on along itself, else 0."""
    least, near = settings.lap_strokes, settings.lap_near_mm
    home = np.hypot(*(line - line[0]).T)
    away = np.flatnonzero(home > 4 * near)
    if not len(away):
        return 0
    back = np.flatnonzero(home[away[0] :] < near) + away[0]
    if not len(back) or back[0] < least:
        return 0
    # the nearest of the points around the start
    around = back[back < back[0] + least // 2]
    stop = int(around[home[around].argmin()])
    rest = line[stop:]
    if len(rest) < max(least, stop // 3):
        return 0
    some = rest[:: max(len(rest) // 24, 1)]
    apart = np.sqrt(((some[:, None] - line[None, :stop]) ** 2).sum(axis=2)).min(axis=1)
    return stop if float(np.mean(apart < near)) > 0.9 else 0

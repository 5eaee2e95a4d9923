"""Pieces: strokes of one label in a row, and the needle points each of them owns."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from restitch.infer.borders import settle_border
from restitch.infer.label import IS_DENSE, IS_OPEN, Labels
from restitch.infer.laps import split_laps
from restitch.infer.piece import Look, Piece
from restitch.infer.settings import Settings
from restitch.infer.strokes import Strokes


def find_pieces(strokes: Strokes, labels: Labels, settings: Settings) -> list[list[Piece]]:
    """The pieces of every chain that has strokes, in sewing order."""
    chains = [_tidied(chain, settings) for chain in _raw_pieces(strokes, labels)]
    chains = [[lap for p in chain for lap in split_laps(p, strokes, settings)] for chain in chains]
    for chain in chains:
        _share_points(chain, strokes)
        for before, after in pairwise(chain):
            settle_border(before, after, strokes, settings)
    return [[p for p in chain if p.points > 0] for chain in chains]


def _raw_pieces(strokes: Strokes, labels: Labels) -> list[list[Piece]]:
    """Equal labels in a row, cut also where a ladder pays the cap; one list for each chain."""
    state, chain = labels.state, strokes.chain
    if not len(state):
        return []
    new = (np.diff(state) != 0) | (np.diff(chain) != 0) | labels.capped
    first = np.concatenate([[0], np.flatnonzero(new) + 1])
    stop = np.append(first[1:], len(state))
    look = np.where(IS_DENSE[state], Look.DENSE, np.where(IS_OPEN[state], Look.OPEN, Look.RUN))
    chains: list[list[Piece]] = []
    last = -1
    for s0, s1, kind, number in zip(
        first.tolist(), stop.tolist(), look[first].tolist(), chain[first].tolist(), strict=True
    ):
        if number != last:
            chains.append([])
            last = number
        chains[-1].append(Piece(Look(kind), number, s0, s1, 0, 0))
    return chains


def _tidied(chain: list[Piece], settings: Settings) -> list[Piece]:
    """Short dense pieces joined to a longer dense neighbour, lone ladder strokes turned to run."""
    most = settings.stray_strokes
    out: list[Piece] = []
    for piece in chain:
        before = out[-1] if out else None
        if (
            before is not None
            and before.look == piece.look == Look.DENSE
            and min(before.strokes, piece.strokes) <= most
        ):
            before.s1 = piece.s1
            continue
        out.append(piece)
    for piece in out:
        if piece.strokes == 1 and piece.look != Look.RUN:
            piece.look = Look.RUN
    joined: list[Piece] = []
    for piece in out:
        if joined and joined[-1].look == piece.look == Look.RUN:
            joined[-1].s1 = piece.s1
        else:
            joined.append(piece)
    return joined


def _share_points(chain: list[Piece], strokes: Strokes) -> None:
    """Give every piece its needle points: a ladder owns both ends of its strokes."""
    point = int(strokes.v0[chain[0].s0])
    stop = int(strokes.v1[chain[-1].s1 - 1]) + 1
    for piece, after in zip(chain, [*chain[1:], None], strict=True):
        piece.p0 = point
        last = int(strokes.v1[piece.s1 - 1]) + 1
        if after is None:
            piece.p1 = stop
        elif piece.look == Look.RUN or (piece.look == Look.OPEN and after.look == Look.DENSE):
            # the point at which the next ladder's first stroke starts is the ladder's own
            piece.p1 = max(point, int(strokes.v0[after.s0]))
        else:
            piece.p1 = last
        point = piece.p1

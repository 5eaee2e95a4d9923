"""Borders between pieces: which needle point is the last of one and the first of the next.

The underlay of a narrow letter has three to six needle points, so one wrong point matters.
"""

from __future__ import annotations

import numpy as np

from restitch.infer.piece import Look, Piece
from restitch.infer.settings import Settings
from restitch.infer.strokes import Strokes
from restitch.model import FloatArray


def settle_border(before: Piece, after: Piece, strokes: Strokes, settings: Settings) -> None:
    """Move the border between two neighbours where the geometry says so."""
    if before.look == Look.RUN and after.look == Look.DENSE:
        if not _give_stub_to_run(before, after, strokes, settings):
            _give_row_to_ladder(before, after, strokes, settings)
    elif before.look == Look.DENSE and after.look == Look.RUN:
        _give_last_rung_to_ladder(before, after, strokes, settings)
        _cut_travel_off_row(before, after, strokes, settings)


def _give_stub_to_run(run: Piece, ladder: Piece, strokes: Strokes, settings: Settings) -> bool:
    """A centre run stops mid-column: the half rung from there to the side is its last stitch."""
    if ladder.strokes < 3 or strokes.count[ladder.s0] != 1:
        return False
    a, b = chord(strokes, ladder.s0), chord(strokes, ladder.s0 + 1)
    la, lb = float(np.hypot(*a)), float(np.hypot(*b))
    if la > settings.stub_share * lb:
        return False
    # does it start mid-column? compare with the same side two strokes on
    same = strokes.start_mm[ladder.s0 + 2] - strokes.start_mm[ladder.s0]
    if abs(float(np.dot(same, b))) < settings.stub_inset * lb * lb:
        return False
    run.p1 += 1
    ladder.p0 += 1
    ladder.s0 += 1
    return True


def _give_row_to_ladder(run: Piece, ladder: Piece, strokes: Strokes, settings: Settings) -> None:
    """Points before the first rung that make a straight row beside it are the ladder's."""
    a = strokes.start_mm[ladder.s0]
    b = strokes.end_mm[ladder.s0]
    length = float(np.hypot(*(a - b)))
    if length < 1e-6:
        return
    unit = (a - b) / length
    most = length * settings.row_stretch + settings.row_slack_mm
    taken, along, last = 0, 0.0, a
    for p in range(run.p1 - 1, run.p0 - 1, -1):
        q = strokes.xy_mm[p]
        step = last - q
        size = float(np.hypot(*step))
        advance = float(np.dot(step, unit))
        aside = abs(float(unit[0] * (q - a)[1] - unit[1] * (q - a)[0]))
        first_step = taken == 0 and size < settings.row_aside_mm
        straight = advance > settings.row_cosine * size or first_step
        if not straight or along + advance > most or aside > settings.row_aside_mm:
            break
        taken, along, last = taken + 1, along + advance, q
    if taken and along > settings.row_least * length:
        run.p1 -= taken
        ladder.p0 -= taken


def _give_last_rung_to_ladder(
    ladder: Piece, run: Piece, strokes: Strokes, settings: Settings
) -> None:
    """The first run stitch is one more rung if it runs back along the last one over its length."""
    if ladder.strokes < 3 or run.points < 2:
        return
    last = ladder.s1 - 1
    row = chord(strokes, last)
    length = float(np.hypot(*row))
    here, there = strokes.xy_mm[run.p0 - 1], strokes.xy_mm[run.p0]
    way = there - here
    far = float(np.hypot(*way))
    if min(far, length) < 1e-6 or strokes.count[last] != 1:
        return
    cosine = float(np.dot(way, row)) / (far * length)
    home = float(np.hypot(*(there - strokes.start_mm[last])))
    if (
        cosine < -settings.row_cosine
        and settings.stub_share < far / length < 1 / settings.stub_share
        and home < max(0.5, 0.35 * length)
    ):
        ladder.p1 += 1
        run.p0 += 1


def _cut_travel_off_row(ladder: Piece, run: Piece, strokes: Strokes, settings: Settings) -> None:
    """Travel that goes on in line with the last row is cut off where the row before began."""
    if ladder.strokes < 2:
        return
    last = ladder.s1 - 1
    row, before = chord(strokes, last), chord(strokes, last - 1)
    length, usual = float(np.hypot(*row)), float(np.hypot(*before))
    if length < usual + settings.row_slack_mm + settings.step_mm or usual < 1e-6:
        return
    unit = -before / usual
    origin = strokes.end_mm[last - 1]
    for p in range(int(strokes.v0[last]) + 1, ladder.p1):
        if float(np.dot(strokes.xy_mm[p] - origin, unit)) > usual + settings.row_slack_mm:
            run.p0 = p
            ladder.p1 = p
            return


def chord(strokes: Strokes, stroke: int) -> FloatArray:
    """(2,) from start to end of one stroke."""
    way: FloatArray = strokes.xy_mm[strokes.v1[stroke]] - strokes.xy_mm[strokes.v0[stroke]]
    return way

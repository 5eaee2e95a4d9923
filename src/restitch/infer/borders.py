"""Borders between pieces: which needle point is the last of one and the first of the next.

The underlay of a narrow letter has three to six needle points, so one wrong point matters.
"""

from __future__ import annotations

import numpy as np

from restitch.geometry.small import median
from restitch.infer.piece import Look, Piece
from restitch.infer.settings import Settings
from restitch.infer.strokes import Strokes
from restitch.model import FloatArray


def settle_border(before: Piece, after: Piece, strokes: Strokes, settings: Settings) -> None:
    """Move the border between two neighbours where the geometry says so."""
    if before.look != Look.DENSE and after.look == Look.DENSE:
        _give_long_strokes(after, before, strokes, settings, first=True)
        stub = before.look == Look.RUN and _give_stub_to_run(before, after, strokes, settings)
        if not stub:
            _give_row_to_ladder(before, after, strokes, settings)
    elif before.look == Look.DENSE and after.look == Look.RUN:
        _give_long_strokes(before, after, strokes, settings, first=False)
        _give_last_stub_to_run(before, after, strokes, settings)
        _give_last_rung_to_ladder(before, after, strokes, settings)
        _cut_travel_off_row(before, after, strokes, settings)


def _give_stub_to_run(run: Piece, ladder: Piece, strokes: Strokes, settings: Settings) -> bool:
    """A centre run stops mid-column: the half rung from there to the side is its last stitch."""
    if ladder.strokes < 3 or strokes.count[ladder.s0] != 1:
        return False
    a, b = chord(strokes, ladder.s0), chord(strokes, ladder.s0 + 1)
    la, lb = float(np.hypot(*a)), float(np.hypot(*b))
    lc = float(np.hypot(*chord(strokes, ladder.s0 + 2)))
    # a column that tapers to a point starts with ever longer rungs
    if la > settings.stub_share * lb or lc > settings.taper * lb:
        return False
    # does it start mid-column? compare with the same side two strokes on
    same = strokes.start_mm[ladder.s0 + 2] - strokes.start_mm[ladder.s0]
    if abs(float(np.dot(same, b))) < settings.stub_inset * lb * lb:
        return False
    run.p1 += 1
    ladder.p0 += 1
    ladder.s0 += 1
    return True


def _give_last_stub_to_run(ladder: Piece, run: Piece, strokes: Strokes, settings: Settings) -> None:
    """A half rung at the end of a column leads to the centre run of the next one."""
    last = ladder.s1 - 1
    if ladder.strokes < 4 or not _is_column(strokes, slice(ladder.s0, ladder.s1), settings):
        return
    a, b = chord(strokes, last), chord(strokes, last - 1)
    la, lb = float(np.hypot(*a)), float(np.hypot(*b))
    same = strokes.end_mm[last - 2] - strokes.end_mm[last]
    lc = float(np.hypot(*chord(strokes, last - 2)))
    if la > settings.stub_share * lb or lc > settings.taper * lb:
        return
    if abs(np.dot(same, b)) < settings.stub_inset * lb * lb:
        return
    ladder.s1 -= 1
    ladder.p1 = run.p0 = int(strokes.v1[last])


def _give_long_strokes(
    ladder: Piece, other: Piece, strokes: Strokes, settings: Settings, *, first: bool
) -> None:
    """Strokes of several stitches, suddenly longer, at the end of a column of single ones belong
    to the underlay before it or after it."""
    few = settings.stray_strokes
    inner = slice(ladder.s0 + few, ladder.s1 - few)
    if ladder.strokes < 3 * few or not _is_column(strokes, inner, settings):
        return
    ends = range(ladder.s0, ladder.s0 + few) if first else range(ladder.s1 - few, ladder.s1)
    usual = median(np.hypot(*strokes.chord[inner].T))
    long = [
        k
        for k in ends
        if strokes.count[k] > 1 and np.hypot(*chord(strokes, k)) > settings.sudden_length * usual
    ]
    if not long:
        return
    if first:
        ladder.s0 = max(long) + 1
        ladder.p0 = other.p1 = int(strokes.v0[ladder.s0])
    else:
        cut = min(long)
        ladder.s1 = cut
        # its first stitch may still be the column's last rung
        rung = np.hypot(*(strokes.xy_mm[strokes.v0[cut] + 1] - strokes.xy_mm[strokes.v0[cut]]))
        keeps = settings.stub_share * usual < rung < settings.sudden_length * usual
        ladder.p1 = other.p0 = int(strokes.v0[cut]) + (2 if keeps else 1)


def _is_column(strokes: Strokes, span: slice, settings: Settings) -> bool:
    """Whether nearly all strokes are single stitches, as in a satin that is not split."""
    return float(np.mean(strokes.count[span] == 1)) > settings.column_singles


def _give_row_to_ladder(run: Piece, ladder: Piece, strokes: Strokes, settings: Settings) -> None:
    """Points before the first rung that make a straight row beside it are the ladder's."""
    a = strokes.start_mm[ladder.s0]
    b = strokes.end_mm[ladder.s0]
    length = float(np.hypot(*(a - b)))
    if length < 1e-6:
        return
    unit = (a - b) / length
    normal = np.array([-unit[1], unit[0]])
    ahead = strokes.middle[min(ladder.s0 + 2, ladder.s1 - 1)] - strokes.middle[ladder.s0]
    if float(np.dot(ahead, normal)) < 0:
        normal = -normal
    most = length * settings.row_stretch + settings.row_slack_mm
    taken, along, last = 0, 0.0, a
    start = int(strokes.v0[ladder.s0])
    for p in range(start - 1, run.p0 - 1, -1):
        q = strokes.xy_mm[p]
        step = last - q
        size = float(np.hypot(*step))
        advance = float(np.dot(step, unit))
        # rows lie behind the first rung, underlay ahead of it
        aside = float(np.dot(q - a, normal))
        first_step = taken == 0 and size < settings.step_mm
        straight = advance > settings.row_cosine * size or first_step
        beside = -settings.row_aside_mm < aside < settings.row_ahead_mm
        if not straight or not beside or along + advance > most:
            break
        taken, along, last = taken + 1, along + advance, q
    single = strokes.count[ladder.s0] == 1
    least = settings.rung_least if single else settings.row_least
    if taken and along > least * length:
        run.p1 = ladder.p0 = start - taken


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

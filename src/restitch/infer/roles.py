"""Roles: which needle points cover, which lie underneath, which only lead somewhere."""

from __future__ import annotations

import numpy as np

from restitch.geometry.small import lengths_mm, median
from restitch.infer.cells import Coverage, inside
from restitch.infer.draft import TOP, TRAVEL, UNDERLAY, Draft, Marks
from restitch.infer.kinds import Votes
from restitch.infer.legs import travel_under_fill
from restitch.infer.piece import Look, Piece
from restitch.infer.settings import Settings
from restitch.infer.strokes import Strokes
from restitch.model import BoolArray, FloatArray, Kind


def mark_roles(
    draft: Draft, marks: Marks, votes: Votes, coverage: Coverage, settings: Settings
) -> None:
    """Write the role of every body point of one object."""
    if not draft.dense:
        marks.role[draft.p0 : draft.p1] = TOP
        return
    first, last = draft.dense[0], draft.dense[-1]
    marks.role[first.p0 : last.p1] = TOP
    # a few points after the last rung are its end; a longer way leads elsewhere
    tail = draft.p1 - last.p1
    marks.role[last.p1 : draft.p1] = TOP if tail <= settings.tail_points else TRAVEL
    if draft.kind == Kind.FILL:
        _mark_fill(draft, marks, coverage.strokes, votes, settings)
    else:
        _mark_satin(draft, marks, coverage, settings)


def _mark_fill(
    draft: Draft, marks: Marks, strokes: Strokes, votes: Votes, settings: Settings
) -> None:
    axis, _ = votes.axis(draft.dense)
    pitch = row_pitch(draft.dense, strokes, axis)
    for start, dense in draft.sittings:
        first, last = dense[0], dense[-1]
        marks.role[start : first.p0] = UNDERLAY
        lead = strokes.xy_mm[start : first.p0 + 1]
        travel = travel_under_fill(lead, _rows_from(draft, start, first, settings), settings)
        marks.role[start : first.p0][travel] = TRAVEL
        stop = draft.p1 if last is draft.dense[-1] else last.p1
        across = travel_across_rows(strokes.xy_mm[first.p0 : stop], axis, pitch, settings)
        marks.role[first.p0 : stop] = np.where(across, TRAVEL, TOP)


def _rows_from(draft: Draft, start: int, cover: Piece, settings: Settings) -> int:
    """Where the crossing rows under a cover begin, counted from ``start``."""
    for piece in draft.pieces:
        rows = piece.look == Look.OPEN and piece.strokes >= settings.lattice_strokes
        if rows and start <= piece.p0 < cover.p0:
            return piece.p0 - start
    return cover.p0 - start


def row_pitch(dense: list[Piece], strokes: Strokes, axis: float) -> float:
    """Distance between neighbouring rows, millimetres: half the fill's spacing."""
    normal = np.array([-np.sin(axis), np.cos(axis)])
    steps = [np.abs(np.diff(strokes.middle[p.s0 : p.s1] @ normal)) for p in dense]
    every = np.concatenate(steps)
    return median(every) if len(every) else 0.0


def travel_across_rows(
    xy: FloatArray, axis: float, pitch_mm: float, settings: Settings
) -> BoolArray:
    """(k,) points between two stitches that both leave the level of the rows.

    Either each goes farther across than a step from row to row does, or both belong to a stretch
    without a turn back that drifts over several rows.
    """
    travel = np.zeros(len(xy), bool)
    if len(xy) < 3:
        return travel
    along = np.diff(xy @ np.array([np.cos(axis), np.sin(axis)]))
    level = np.diff(xy @ np.array([-np.sin(axis), np.cos(axis)]))
    far = np.abs(level) > max(settings.across_least_mm, settings.across_pitch * pitch_mm)
    turn = np.flatnonzero(np.diff(np.sign(along))) + 1
    first = np.concatenate([[0], turn])
    drift = np.abs(np.add.reduceat(level, first))
    stretch = np.repeat(drift, np.diff(np.append(first, len(along))))
    drifts = stretch > max(settings.drift_least_mm, settings.drift_pitch * pitch_mm)
    off = far | (
        drifts & (np.abs(level) > settings.off_level_mm + settings.off_level_pitch * pitch_mm)
    )
    travel[1:-1] = off[:-1] & off[1:]
    return travel


def _mark_satin(draft: Draft, marks: Marks, coverage: Coverage, settings: Settings) -> None:
    strokes = coverage.strokes
    first = draft.dense[0]
    marks.role[draft.p0 : first.p0] = UNDERLAY
    for before, after in zip(draft.dense, draft.dense[1:], strict=False):
        if after.p0 - before.p1 >= settings.underlay_points:
            marks.role[before.p1 : after.p0] = UNDERLAY
    lead = strokes.xy_mm[draft.p0 : first.p0]
    if len(lead) < 2 or _touches(strokes, draft.dense, lead[0]):
        return
    cells = coverage.of_all(draft.dense)
    outside = ~inside(coverage.grid.cell(lead), cells)
    leading = int(np.logical_and.accumulate(outside).sum())
    if leading and leading < len(lead):
        way = lengths_mm(lead[: leading + 1]).sum()
        if way > settings.lead_travel_mm:
            marks.role[draft.p0 : draft.p0 + leading] = TRAVEL


def _touches(strokes: Strokes, dense: list[Piece], point: FloatArray) -> bool:
    """Whether a point lies right at one of the strokes: half a sewn thread off at most."""
    for piece in dense:
        at = slice(piece.s0, piece.s1)
        off, chord = point - strokes.start_mm[at], strokes.chord[at]
        size = np.maximum((chord * chord).sum(axis=1), 1e-9)
        along = np.clip((off * chord).sum(axis=1) / size, 0.0, 1.0)
        apart = off - chord * along[:, None]
        if float((apart * apart).sum(axis=1).min()) < THREAD_MM**2:
            return True
    return False


THREAD_MM = 0.2
"""A sewn 40 weight thread is so wide (published thread tables: 0.2 mm)."""

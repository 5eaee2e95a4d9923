"""Trims and ties over a whole plan: nothing long left uncut, no thread end left loose."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from restitch.fix.context import Plan
from restitch.measure import MeasureSettings
from restitch.model import UNITS_PER_MM, IntArray, Link, Piece, Role, read_only
from restitch.stitch.ties import tie_in, tie_off

LOCK = MeasureSettings()
"""What counts as a lock: the same rule that the findings use."""
REACH = 12
"""Points next to an end that a tie is laid along."""


@dataclass(slots=True)
class _Span:
    """Thread from one cut to the next: places (object, piece) in sewing order."""

    pieces: list[tuple[int, int]]
    begins: bool
    """It begins at a cut that wants a lock (else at a short jump that has none by custom)."""
    ends: bool


def cut(plan: Plan, trim_over_mm: float) -> tuple[Plan, int]:
    """Return the plan with a trim at every jump longer than the limit, and how many were added."""
    here: IntArray | None = None
    thread, added, found = None, 0, []
    for obj in plan:
        pieces = []
        for piece in obj.pieces:
            if piece.link is Link.JUMP and here is not None and obj.thread == thread:
                gap_mm = float(np.hypot(*(piece.xy[0] - here))) / UNITS_PER_MM
                if gap_mm > trim_over_mm:
                    piece, added = replace(piece, link=Link.TRIM), added + 1
            pieces.append(piece)
            here, thread = piece.xy[-1], obj.thread
        found.append(pieces)
    if not added:
        return plan, 0
    return tuple(replace(o, pieces=tuple(p)) for o, p in zip(plan, found, strict=True)), added


def tied(plan: Plan, new_jumps: frozenset[int], everywhere: bool) -> tuple[Plan, int]:
    """Return the plan with ties wherever thread begins or ends without a lock, and their number.

    ``new_jumps``: places in the plan that are reached by a jump which was not there before: tied
    on both sides like a cut. ``everywhere``: tie at every jump, old ones too.
    """
    spans = _spans(plan, new_jumps, everywhere)
    pieces = [list(o.pieces) for o in plan]
    added = 0
    before: dict[tuple[int, int], Piece] = {}
    after: dict[tuple[int, int], Piece] = {}
    for span in spans:
        chain = [pieces[o][p].xy for o, p in span.pieces]
        if span.begins:
            start = _first(chain, REACH)
            if not locked(start):
                o, p = span.pieces[0]
                before[o, p] = Piece(Role.TIE, read_only(tie_in(start)), pieces[o][p].link)
                added += 1
        if span.ends:
            end = _first([xy[::-1] for xy in reversed(chain)], REACH)
            if not locked(end):
                after[span.pieces[-1]] = Piece(Role.TIE, read_only(tie_off(end[::-1])), Link.SEWN)
                added += 1
    if not added:
        return plan, 0
    return (
        tuple(
            replace(obj, pieces=tuple(_with_ties(obj.pieces, o, before, after)))
            for o, obj in enumerate(plan)
        ),
        added,
    )


def locked(inward: IntArray) -> bool:
    """Whether stitching that runs inward from a thread end holds it: short stitches next to it."""
    # a few points, asked for at every end of thread: plain numbers are faster
    near = inward[: LOCK.tie_window + 1].tolist()
    spots = [complex(x / UNITS_PER_MM, y / UNITS_PER_MM) for x, y in near]
    short = [abs(b - a) <= LOCK.tie_stitch_mm for a, b in pairwise(spots)]
    return sum(short) >= LOCK.tie_stitches


def share_locked(plan: Plan) -> float:
    """Share of the thread ends at cuts that are locked (1.0 without any)."""
    ends = []
    for span in _spans(plan, frozenset(), everywhere=False):
        chain = [plan[o].pieces[p].xy for o, p in span.pieces]
        if span.begins:
            ends.append(locked(_first(chain, REACH)))
        if span.ends:
            ends.append(locked(_first([xy[::-1] for xy in reversed(chain)], REACH)))
    return sum(ends) / len(ends) if ends else 1.0


def _spans(plan: Plan, new_jumps: frozenset[int], everywhere: bool) -> list[_Span]:
    spans: list[_Span] = []
    thread = None
    for o, obj in enumerate(plan):
        for p, piece in enumerate(obj.pieces):
            fresh = obj.thread != thread
            if fresh or piece.link is not Link.SEWN or not spans:
                plain_jump = (
                    piece.link is Link.JUMP
                    and not fresh
                    and not everywhere
                    and not (p == 0 and o in new_jumps)
                )
                if spans:
                    spans[-1].ends = not plain_jump
                spans.append(_Span([], begins=not plain_jump, ends=True))
            thread = obj.thread
            spans[-1].pieces.append((o, p))
    return spans


def _first(chain: Sequence[IntArray], count: int) -> IntArray:
    """The first points of pieces sewn one after another."""
    found: list[IntArray] = []
    for xy in chain:
        found.append(xy[:count])
        count -= len(found[-1])
        if count <= 0:
            break
    return np.concatenate(found) if len(found) > 1 else found[0]


def _with_ties(
    pieces: Sequence[Piece],
    o: int,
    before: dict[tuple[int, int], Piece],
    after: dict[tuple[int, int], Piece],
) -> list[Piece]:
    found = []
    for p, piece in enumerate(pieces):
        if (o, p) in before:
            found += [before[o, p], replace(piece, link=Link.SEWN)]
        else:
            found.append(piece)
        if (o, p) in after:
            found.append(after[o, p])
    return found

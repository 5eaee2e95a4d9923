"""Surplus: layers sewn again over one column, objects sewn twice, fills that do not show."""

from __future__ import annotations

import numpy as np

from restitch.infer.cells import Coverage, Grid, inside, overlap
from restitch.infer.draft import Draft, Marks
from restitch.infer.grouping import path_points
from restitch.infer.piece import Piece
from restitch.infer.settings import Settings
from restitch.infer.strokes import Strokes
from restitch.model import FloatArray, Kind


def mark_raised(draft: Draft, marks: Marks, coverage: Coverage, settings: Settings) -> None:
    """Number the layers of a column that was sewn several times; the last is layer 0."""
    if len(draft.dense) < 2:
        return
    cells = [coverage.of(p) for p in draft.dense]
    above = [0] * len(cells)
    for k in range(len(cells) - 2, -1, -1):
        few = draft.dense[k].points < settings.raised_points
        over = [
            above[j]
            for j in range(k + 1, len(cells))
            if _lies_under(overlap(cells[k], cells[j]), few, settings)
        ]
        above[k] = 1 + max(over) if over else 0
    for piece, layer in zip(draft.dense, above, strict=True):
        marks.layer[piece.p0 : piece.p1] = layer
    _mark_between(draft, marks, above, settings)


def _lies_under(shares: tuple[float, float], few: bool, settings: Settings) -> bool:
    """Whether a piece is a layer under another: it lies in it, and is no mere stub of it."""
    under, over = shares
    return under > settings.raised_share and (not few or over > settings.raised_least)


def _mark_between(draft: Draft, marks: Marks, above: list[int], settings: Settings) -> None:
    """Stitches between layers belong to the upper one; a copy takes its underlay along."""
    for k, (before, after) in enumerate(zip(draft.dense, draft.dense[1:], strict=False)):
        gap = after.p0 - before.p1
        marks.layer[before.p1 : after.p0] = above[k + 1]
        if gap >= settings.underlay_points and above[k] > above[k + 1]:
            marks.layer[draft.p0 : before.p1] = np.maximum(marks.layer[draft.p0 : before.p1], 1)


def find_copies(
    drafts: list[Draft], block: list[int], strokes: Strokes, settings: Settings
) -> None:
    """Mark every object that a later one of its colour repeats; the earlier copy is the surplus."""
    rows = [_figure(d, strokes) for d in drafts]
    order = sorted(
        (k for k, row in enumerate(rows) if row is not None and drafts[k].kind != Kind.RUN),
        key=lambda k: float(rows[k][0]),  # type: ignore[index]
    )
    for at, k in enumerate(order):
        for other in order[at + 1 :]:
            a, b = rows[k], rows[other]
            assert a is not None
            assert b is not None
            if b[0] - a[0] > settings.copy_centre_mm:
                break
            first, second = min(k, other), max(k, other)
            if (
                drafts[first].copy_of is None
                and drafts[first].kind == drafts[second].kind
                and block[first] == block[second]
                and _alike(a, b, settings)
                and _same_course(drafts[first], drafts[second], strokes, settings)
            ):
                drafts[first].copy_of = drafts[second]
                drafts[first].layer = 1


def _figure(draft: Draft, strokes: Strokes) -> FloatArray | None:
    """Centre x, y, stitches and thread length of the covering stitching."""
    if not draft.dense:
        return None
    at = np.concatenate([np.arange(p.s0, p.s1) for p in draft.dense])
    centre = strokes.middle[at].mean(axis=0)
    return np.array([*centre, strokes.count[at].sum(), strokes.path_mm[at].sum()])


def _alike(a: FloatArray, b: FloatArray, settings: Settings) -> bool:
    if float(np.hypot(*(a[:2] - b[:2]))) > settings.copy_centre_mm:
        return False
    count = abs(a[2] - b[2]) <= settings.copy_count * max(a[2], b[2])
    length = abs(a[3] - b[3]) <= settings.copy_length * max(a[3], b[3])
    return bool(count and length)


def _same_course(a: Draft, b: Draft, strokes: Strokes, settings: Settings) -> bool:
    """Whether two objects run along the same line, wherever on it (rings) they begin."""
    one, two = _course(a, strokes), _course(b, strokes)
    for these, those in ((one, two), (two, one)):
        some = these[:: len(these) // settings.copy_points]
        apart = np.sqrt(((some[:, None] - those[None]) ** 2).sum(axis=2)).min(axis=1)
        near = float(np.mean(apart < settings.copy_path_mm))
        if near < settings.copy_path_share or apart.max() > 5 * settings.copy_path_mm:
            return False
    return True


def _course(draft: Draft, strokes: Strokes) -> FloatArray:
    """(400, 2) points along the middles of all its strokes."""
    first, last = draft.dense[0], draft.dense[-1]
    whole = Piece(first.look, first.chain, first.s0, last.s1, 0, 0)
    return path_points(strokes, whole, 400)


def find_hidden(drafts: list[Draft], strokes: Strokes, grid: Grid, settings: Settings) -> None:
    """Mark fills of which nothing shows under later stitching."""
    boxes = np.array([_box(d, strokes) for d in drafts]).reshape(-1, 4)
    coverage = Coverage(strokes, grid, settings.paint_step_mm, settings.dense_mm)
    for number in _maybe_hidden(drafts, boxes, settings):
        draft = drafts[number]
        own = coverage.of_all(draft.dense)
        left = np.ones(len(own), bool)
        margin = np.array([-1.0, -1.0, 1.0, 1.0]) * settings.paint_cell_mm
        shared = _shared(boxes[number] + margin, boxes[number + 1 :] + margin)
        # most first, and no longer than what is still to come could hide it
        most_first = np.argsort(-shared, kind="stable")
        to_come = float(shared.sum()) / settings.paint_cell_mm**2
        for later in most_first[shared[most_first] > 0].tolist():
            if left.sum() - to_come > settings.hidden_share * len(own):
                break
            to_come -= float(shared[later]) / settings.paint_cell_mm**2
            left[left] &= ~inside(own[left], coverage.of_all(drafts[number + 1 + later].dense))
        if left.mean() < settings.hidden_share:
            draft.hidden = True
            draft.layer = max(draft.layer, 1)


def _box(draft: Draft, strokes: Strokes) -> FloatArray:
    """x0, y0, x1, y1 of the covering stitching; empty where there is none."""
    if not draft.dense:
        return np.array([0.0, 0.0, -1.0, -1.0])
    parts = [strokes.xy_mm[p.p0 : p.p1] for p in draft.dense]
    low = np.min([p.min(axis=0) for p in parts], axis=0)
    high = np.max([p.max(axis=0) for p in parts], axis=0)
    return np.concatenate([low, high])


def _shared(a: FloatArray, b: FloatArray) -> FloatArray:
    """Area that boxes have in common."""
    size = np.minimum(a[..., 2:], b[..., 2:]) - np.maximum(a[..., :2], b[..., :2])
    area: FloatArray = np.maximum(size, 0.0).prod(axis=-1)
    return area


def _maybe_hidden(drafts: list[Draft], boxes: FloatArray, settings: Settings) -> list[int]:
    """Fills whose box the boxes of later objects could cover, judged by area alone."""
    maybe = []
    for number, draft in enumerate(drafts):
        many = sum(p.strokes for p in draft.dense) >= settings.hidden_strokes
        if draft.kind == Kind.FILL and many:
            own = float(_shared(boxes[number], boxes[number]))
            later = float(_shared(boxes[number], boxes[number + 1 :]).sum())
            if later > settings.hidden_boxes * own:
                maybe.append(number)
    return maybe

"""From drafts and marks to the objects that the other rooms work with."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from restitch.geometry.small import distinct
from restitch.infer.body import Ends
from restitch.infer.draft import TIE, Draft, Marks
from restitch.infer.needles import Needles
from restitch.infer.strokes import Strokes
from restitch.model import Part, Role, SewnObject

ROLES = (Role.TOP, Role.UNDERLAY, Role.TRAVEL, Role.TIE)


def assemble(
    needles: Needles, ends: Ends, strokes: Strokes, drafts: list[Draft], marks: Marks
) -> tuple[SewnObject, ...]:
    """Objects in sewing order whose parts hold every STITCH record once."""
    owner, role, layer = _per_needle(needles, ends, strokes, drafts, marks)
    objects: list[SewnObject] = []
    bounds = np.flatnonzero(np.diff(owner, prepend=-2)).tolist()
    number = {id(drafts[int(owner[start])]): k for k, start in enumerate(bounds)}
    parts = _parts(needles, owner, role, layer)
    for k, start in enumerate(bounds):
        draft = drafts[int(owner[start])]
        objects.append(
            SewnObject(
                id=k,
                kind=draft.kind,
                block=int(needles.block[start]),
                parts=parts[start],
                confidence=draft.confidence,
                open=draft.open,
                copy_of=None if draft.copy_of is None else number[id(draft.copy_of)],
                hidden=draft.hidden,
            )
        )
    return tuple(objects)


def _per_needle(
    needles: Needles, ends: Ends, strokes: Strokes, drafts: list[Draft], marks: Marks
) -> tuple[NDArray[np.intp], NDArray[np.int8], NDArray[np.int16]]:
    """Draft number, role and surplus layer of every needle point."""
    of_point = np.full(len(strokes.point) + 1, -1, np.intp)
    for number, draft in enumerate(drafts):
        of_point[draft.p0 : draft.p1] = number
    point = _body_point(needles, strokes)
    owner = of_point[point]
    role = np.append(marks.role, 0).astype(np.int8)[point]
    layer = np.append(marks.layer, 0).astype(np.int16)[point]
    for chain in distinct(needles.chain[owner < 0]).tolist():
        # a chain without any stroke is a run of its own
        owner[needles.first[chain] : needles.stop[chain]] = len(drafts)
        drafts.append(Draft(chain, [], []))
    index = np.arange(len(needles))
    body = (index >= ends.body_first[needles.chain]) & (index < ends.body_stop[needles.chain])
    role[~body] = TIE
    whole = np.array([d.layer for d in drafts], np.int16)
    return owner, role, np.maximum(layer, whole[owner])


def _body_point(needles: Needles, strokes: Strokes) -> NDArray[np.intp]:
    """(n,) body point that speaks for each needle point: the one at or before it in its chain, for
    a tie in the first one after it, for a chain without strokes the last row (no draft)."""
    count = len(strokes.point)
    chain = np.append(needles.chain[strokes.point], -1)
    is_body = np.zeros(len(needles), bool)
    is_body[strokes.point] = True
    before = np.cumsum(is_body) - 1
    after = np.minimum(before + 1, count)
    here = np.where(chain[before] == needles.chain, before, after)
    return np.where(chain[here] == needles.chain, here, count)


def _parts(
    needles: Needles, owner: NDArray[np.intp], role: NDArray[np.int8], layer: NDArray[np.int16]
) -> dict[int, tuple[Part, ...]]:
    """By the first needle point of each object, its ranges of neighbouring records with one role
    and layer."""
    record, starts = needles.record, np.diff(owner, prepend=-2) != 0
    new = starts.copy()
    new[1:] |= np.diff(record) != 1
    new[1:] |= (np.diff(role) != 0) | (np.diff(layer) != 0)
    first = np.flatnonzero(new)
    last = np.append(first[1:], len(record)) - 1
    found: dict[int, list[Part]] = {}
    columns = (first, starts[first], role[first], record[first], record[last] + 1, layer[first])
    for point, begins, here, start, stop, depth in zip(*(c.tolist() for c in columns), strict=True):
        if begins:
            own = found[point] = []
        own.append(Part(ROLES[here], start, stop, depth))
    return {point: tuple(own) for point, own in found.items()}

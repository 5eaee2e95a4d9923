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
    for k, (start, stop) in enumerate(zip(bounds, [*bounds[1:], len(needles)], strict=True)):
        draft = drafts[int(owner[start])]
        objects.append(
            SewnObject(
                id=k,
                kind=draft.kind,
                block=int(needles.block[start]),
                parts=_parts(needles, role, layer, start, stop),
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
    needles: Needles, role: NDArray[np.int8], layer: NDArray[np.int16], start: int, stop: int
) -> tuple[Part, ...]:
    """Ranges of neighbouring records with one role and layer."""
    record = needles.record[start:stop]
    here, depth = role[start:stop], layer[start:stop]
    new = (np.diff(record) != 1) | (np.diff(here) != 0) | (np.diff(depth) != 0)
    first = np.concatenate([[0], np.flatnonzero(new) + 1])
    last = np.append(first[1:], len(record)) - 1
    return tuple(
        Part(ROLES[here[a]], int(record[a]), int(record[b]) + 1, int(depth[a]))
        for a, b in zip(first.tolist(), last.tolist(), strict=True)
    )

"""The objects of a design told apart: outlined, numbered, neighbours in different colours."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from restitch.draw.scene import Lines, Page, Rgb, runs_of
from restitch.look import Picture, frame_around, paint
from restitch.model import Command, FloatArray, IntArray, SewnObject, Stream

_THREAD_MM = 0.35
_OUTLINE_MM = 0.75
_NEAR = 8
"""Pixels (0.1 mm) within which two objects are neighbours."""


def object_picture(stream: Stream, objects: Sequence[SewnObject]) -> Picture:
    """Return the picture of a stream by object id."""
    owner = np.full(len(stream), -1, np.int32)
    for obj in objects:
        for part in obj.parts:
            owner[part.start : part.stop] = obj.id
    return paint(stream, owner, None, frame_around(stream))


def object_lines(
    page: Page, stream: Stream, obj: SewnObject, colour: Rgb, outline: Rgb
) -> list[Lines]:
    """Return an object's stitches over a wider dark line, which leaves an outline around them;
    surplus layers are dashed."""
    under: list[FloatArray] = []
    top: list[Lines] = []
    width = max(1.0, _THREAD_MM * page.px_per_mm)
    for part in obj.parts:
        at = np.arange(part.start, part.stop)
        at = at[stream.command[at] == Command.STITCH]
        if len(at) < 2:
            continue
        runs = runs_of(page.place(stream.xy[at]), np.flatnonzero(np.diff(at) != 1) + 1)
        under += runs
        top.append(Lines(runs, colour, width, dashed=part.layer > 0))
    edge = max(width + 1.5, _OUTLINE_MM * page.px_per_mm)
    return [Lines(tuple(under), outline, edge), *top]


def told_apart(picture: Picture, objects: Sequence[SewnObject], colours: int) -> IntArray:
    """Return a colour number for each object, different for neighbours while there are enough."""
    beside = _neighbours(picture, len(objects))
    number = np.full(len(objects), -1, np.int32)
    for n in np.argsort([-len(b) for b in beside], kind="stable").tolist():
        used = np.bincount(number[beside[n]][number[beside[n]] >= 0], minlength=colours)
        start = n % colours
        number[n] = (start + int(np.roll(used, -start).argmin())) % colours
    return number


def _neighbours(picture: Picture, count: int) -> list[IntArray]:
    """Return for each object those that show beside it."""
    owner_of = np.append(-1, picture.thread.owner_of_slot)
    seen = owner_of[picture.slots[::2, ::2]]
    step = _NEAR // 2
    pairs = np.concatenate(
        [
            _pairs(seen[step:], seen[:-step], count),
            _pairs(seen[:, step:], seen[:, :-step], count),
        ]
    )
    beside: list[list[int]] = [[] for _ in range(count)]
    for pair in np.unique(pairs).tolist():
        one, other = divmod(pair, count)
        beside[one].append(other)
        beside[other].append(one)
    return [np.array(b, np.int32) for b in beside]


def _pairs(one: IntArray, other: IntArray, count: int) -> IntArray:
    differ = (one != other) & (one >= 0) & (other >= 0)
    return np.unique(one[differ].astype(np.int64) * count + other[differ])


def label_points(picture: Picture, page: Page, objects: Sequence[SewnObject]) -> FloatArray:
    """Return for each object the visible page point nearest the middle of what shows of it, NaN
    for hidden objects."""
    points = np.full((len(objects), 2), np.nan)
    for n, obj in enumerate(objects):
        for slot in picture.slots_of(obj.id):
            rows, columns = window = picture.window_of(slot)
            at = np.argwhere(picture.slots[window] == slot + 1)
            if len(at):
                middle = at[np.argmin(((at - at.mean(axis=0)) ** 2).sum(axis=1))]
                corner = (picture.frame.x0 + columns.start, picture.frame.y0 + rows.start)
                points[n] = page.place(middle[None, ::-1] + np.array(corner))[0]
    return points

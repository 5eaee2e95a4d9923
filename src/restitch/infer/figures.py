"""What is known of one object in figures, and the objects of a file as a document."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from restitch.geometry import Ladder, ladder, ladder_of
from restitch.model import (
    UNITS_PER_MM,
    FloatArray,
    IntArray,
    Kind,
    PlannedObject,
    Role,
    SewnObject,
    Stream,
)
from restitch.plan import plan_of

SCHEMA = 1
"""Version of the document of `inspect`."""

CENTRE_SHARE = 0.3
"""Underlay within this share of the half width of the centre line is a centre run (our choice)."""

ZIGZAG_CHANGES = 0.5
"""Underlay whose holes change side at this share of the steps is a zigzag (our choice)."""

LEAST_STROKES = 4
"""A ladder of fewer strokes has no spacing worth telling (our choice)."""


@dataclass(frozen=True, slots=True)
class ObjectFigures:
    """One object in figures; lengths in millimetres, spacing as the trade counts it: same side to
    same side in a satin, every second row in a fill. 0 where a figure makes no sense."""

    id: int
    kind: Kind
    colour: int
    """Colour block, from 0."""
    width_mm: float
    """Of the box around all its stitches."""
    height_mm: float
    length_mm: float
    """Of a column's centre line or a run's path."""
    column_mm: float
    """Width of a satin column, length of a fill's rows."""
    spacing_mm: float
    angle_deg: float
    """Direction of the strokes, 0 to 180 from the x axis towards y."""
    stitch_mm: float
    """Middle stitch length of the top."""
    passes: int
    """How often a run is sewn over itself."""
    underlay: tuple[str, ...]
    """``centre run``, ``edge run``, ``zigzag``, ``double zigzag``, ``crossing rows``."""
    underlay_inset_mm: float
    stitches: int
    tops: int
    underlays: int
    travels: int
    ties: int
    surplus: int
    """Stitches of layers that are not meant to be seen."""


def figures(stream: Stream, obj: SewnObject) -> ObjectFigures:
    """Return the figures of one object."""
    planned = plan_of(stream, (obj,))[0]
    box = np.ptp(planned.points(), axis=0) / UNITS_PER_MM
    top = [p for p in planned.pieces if p.role is Role.TOP and p.layer == 0]
    largest = max(top, key=lambda p: len(p.xy)) if top else None
    rungs = ladder_of(largest) if largest is not None and len(largest.xy) > 2 else None
    regular = rungs is not None and obj.kind is not Kind.RUN and len(rungs) >= LEAST_STROKES
    path = _path_mm([p.xy for p in top])
    count = {role: sum(len(p.xy) for p in planned.pieces if p.role is role) for role in Role}
    kinds, inset = _underlay(planned, rungs if regular else None)
    passes = _passes(top[0].xy) if top and obj.kind is Kind.RUN else 1
    return ObjectFigures(
        id=obj.id,
        kind=obj.kind,
        colour=obj.block,
        width_mm=round(float(box[0]), 2),
        height_mm=round(float(box[1]), 2),
        length_mm=round(_length(obj.kind, rungs if regular else None, path, passes), 2),
        column_mm=round(rungs.width_mm, 2) if regular and rungs else 0.0,
        spacing_mm=round(_spacing(obj.kind, rungs), 3) if regular and rungs else 0.0,
        angle_deg=round(_angle(rungs), 1) if regular and rungs else 0.0,
        stitch_mm=round(_stitch_mm([p.xy for p in top]), 2),
        passes=passes,
        underlay=kinds,
        underlay_inset_mm=round(inset, 2),
        stitches=sum(count.values()),
        tops=count[Role.TOP],
        underlays=count[Role.UNDERLAY],
        travels=count[Role.TRAVEL],
        ties=count[Role.TIE],
        surplus=sum(len(p.xy) for p in planned.pieces if p.layer > 0),
    )


def inspect_document(stream: Stream, objects: Sequence[SewnObject]) -> dict[str, Any]:
    """Return the objects as plain JSON types; part ranges index the records of the file."""
    return {
        "schema": SCHEMA,
        "format": stream.format,
        "records": len(stream),
        "threads": [{"rgb": t.hex, "name": t.name, "number": t.number} for t in stream.threads],
        "objects": [_object_document(stream, o) for o in objects],
        "warnings": list(stream.warnings),
    }


def _object_document(stream: Stream, obj: SewnObject) -> dict[str, Any]:
    known = figures(stream, obj)
    return {
        "id": obj.id,
        "kind": obj.kind.value,
        "color": obj.block,
        "parts": [
            {"role": p.role.value, "start": p.start, "stop": p.stop, "layer": p.layer}
            for p in obj.parts
        ],
        "open": obj.open,
        "confidence": obj.confidence,
        "copy_of": obj.copy_of,
        "hidden": obj.hidden,
        "width_mm": known.width_mm,
        "height_mm": known.height_mm,
        "length_mm": known.length_mm,
        "column_mm": known.column_mm,
        "spacing_mm": known.spacing_mm,
        "angle_deg": known.angle_deg,
        "stitch_mm": known.stitch_mm,
        "passes": known.passes,
        "underlay": list(known.underlay),
        "underlay_inset_mm": known.underlay_inset_mm,
        "stitches": known.stitches,
        "surplus": known.surplus,
    }


def _spacing(kind: Kind, rungs: Ladder) -> float:
    return rungs.fill_spacing_mm if kind is Kind.FILL else rungs.satin_spacing_mm


def _angle(rungs: Ladder) -> float:
    return float(np.degrees(np.arctan2(rungs.axis[1], rungs.axis[0])) % 180.0)


def _length(kind: Kind, rungs: Ladder | None, path_mm: float, passes: int) -> float:
    if kind is Kind.SATIN and rungs is not None:
        return rungs.length_mm
    return path_mm / passes if kind is Kind.RUN else 0.0


def _steps_mm(xy: IntArray) -> FloatArray:
    steps: FloatArray = np.hypot(*np.diff(xy.astype(np.float64), axis=0).T) / UNITS_PER_MM
    return steps


def _path_mm(pieces: Sequence[IntArray]) -> float:
    return float(sum(_steps_mm(xy).sum() for xy in pieces))


def _stitch_mm(pieces: Sequence[IntArray]) -> float:
    steps = np.concatenate([_steps_mm(xy) for xy in pieces]) if pieces else np.zeros(0)
    return float(np.median(steps)) if len(steps) else 0.0


def _passes(xy: IntArray) -> int:
    """How often the middle stitch of a run is sewn over itself (3 for a bean stitch)."""
    if len(xy) < 4:
        return 1
    ends = np.sort(np.stack([xy[:-1] @ (1 << 16, 1), xy[1:] @ (1 << 16, 1)]), axis=0)
    _, counts = np.unique(ends, axis=1, return_counts=True)
    return int(np.median(counts))


def _underlay(obj: PlannedObject, rungs: Ladder | None) -> tuple[tuple[str, ...], float]:
    """Kinds of underlay, and how far inside the cover the outermost of it stays."""
    pieces = [p.xy for p in obj.pieces if p.role is Role.UNDERLAY and p.layer == 0]
    if not pieces or rungs is None:
        return (("run",) if pieces else ()), 0.0
    if obj.kind is Kind.FILL:
        return _under_fill(pieces), 0.0
    holes = np.concatenate(pieces) / UNITS_PER_MM
    aside, half = _aside(holes, rungs)
    share = np.abs(aside) / np.maximum(half, 1e-6)
    kinds: list[str] = []
    if (share < CENTRE_SHARE).mean() > 0.5:
        kinds.append("centre run")
    sides = np.sign(aside[share > CENTRE_SHARE])
    changes = np.flatnonzero(sides[1:] != sides[:-1])
    if len(sides) >= LEAST_STROKES:
        zigzag = len(changes) >= ZIGZAG_CHANGES * (len(sides) - 1)
        still = np.diff(changes, prepend=-1, append=len(sides) - 1).max(initial=0)
        if not zigzag or still > 0.3 * len(sides):
            kinds.append("edge run")
        if len(changes) >= max(LEAST_STROKES, 0.25 * len(sides)):
            kinds.append("zigzag")
    inset = float(np.percentile(half - np.abs(aside), 10)) if len(aside) else 0.0
    return tuple(kinds or ["centre run"]), max(inset, 0.0)


def _aside(holes_mm: FloatArray, rungs: Ladder) -> tuple[FloatArray, FloatArray]:
    """Signed distance of points from the nearest node of the centre line, and half the width."""
    centre = rungs.smooth_centre_mm
    left, right = rungs.rails_mm
    nearest = np.empty(len(holes_mm), np.intp)
    for start in range(0, len(holes_mm), 256):
        part = holes_mm[start : start + 256]
        gap = part[:, None, :] - centre[None, :, :]
        nearest[start : start + 256] = (gap**2).sum(axis=2).argmin(axis=1)
    across = left[nearest] - right[nearest]
    width = np.hypot(*across.T)
    unit = across / np.maximum(width, 1e-6)[:, None]
    aside: FloatArray = ((holes_mm - centre[nearest]) * unit).sum(axis=1)
    return aside, width / 2


def _under_fill(pieces: Sequence[IntArray]) -> tuple[str, ...]:
    """An edge run comes back to where it began; rows that turn back are crossing rows."""
    xy = np.concatenate(pieces)
    strokes = ladder(xy)
    kinds = []
    along = np.concatenate([[0.0], np.cumsum(_steps_mm(xy))])
    away = np.hypot(*(xy - xy[0]).astype(np.float64).T) / UNITS_PER_MM
    if ((away < 1.0) & (along > 8.0)).any():
        kinds.append("edge run")
    turned = (strokes.chords_mm[1:] * strokes.chords_mm[:-1]).sum(axis=1) < 0
    if turned.sum() >= LEAST_STROKES - 1:
        kinds.append("crossing rows")
    return tuple(kinds or ["run"])

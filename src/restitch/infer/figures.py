"""Figures of one object: size, spacing, stitch length, angle, what lies under it.

Spacing is the trade's two-line pitch: same side to same side in a satin, every second row in a
fill, so that the rows of a 0.40 mm fill lie 0.20 mm apart.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from restitch.geometry.small import lengths, lengths_mm, median
from restitch.infer.needles import IndexArray
from restitch.infer.underlay_kinds import Underlay, underlay_of
from restitch.model import UNITS_PER_MM, FloatArray, Kind, Role, SewnObject, Stream


class ObjectFigures(NamedTuple):
    """What can be measured on an object; None where it has no such figure."""

    kind: Kind
    block: int
    box_mm: tuple[float, float, float, float]
    """x0, y0, x1, y1 in the file's own frame, y down."""
    stitches: int
    """STITCH records, ties, travel and surplus included."""
    by_role: dict[str, int]
    """Stitches of each role, layer 0 only."""
    surplus: int
    """Stitches in layers above 0."""
    thread_mm: float
    """Length of the covering stitches."""
    length_mm: float | None = None
    """Length of a column's centre line, or of a run's path once along."""
    column_width_mm: float | None = None
    """Middle width of a satin column."""
    spacing_mm: float | None = None
    """Two-line pitch of a satin or fill."""
    row_pitch_mm: float | None = None
    """Distance of neighbouring rows of a fill: half its spacing."""
    stitch_mm: float | None = None
    """Usual stitch length of a fill row or run."""
    angle_deg: float | None = None
    """Direction of a fill's rows, 0 to 180, counter-clockwise from the right."""
    row_offset: float | None = None
    """How far the holes of a fill row lie beside those of the row before, in stitches 0..0.5."""
    passes: int | None = None
    """How often a run is sewn over its path (bean stitch 3, double run 2)."""
    underlays: tuple[Underlay, ...] = ()
    """Each kind of underlay found."""

    @property
    def width_mm(self) -> float:
        """Extent from left to right."""
        return self.box_mm[2] - self.box_mm[0]

    @property
    def height_mm(self) -> float:
        """Extent from top to bottom."""
        return self.box_mm[3] - self.box_mm[1]

    @property
    def underlay(self) -> tuple[str, ...]:
        """Names of the underlay kinds."""
        return tuple(u.kind for u in self.underlays)

    def document(self) -> dict[str, Any]:
        """The figures, rounded to what 0.1 mm files can tell, ready for JSON."""
        return {name: _plain(v) for name, v in self._asdict().items() if name not in _ELSEWHERE}


_ELSEWHERE = ("kind", "block")
"""Fields that the object itself already states."""


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 3)
    if isinstance(value, Underlay):
        return {name: _plain(v) for name, v in value._asdict().items()}
    if isinstance(value, tuple):
        return [_plain(v) for v in value]
    return value


def figures(stream: Stream, obj: SewnObject) -> ObjectFigures:
    """Measure one object of a stream; surplus layers count only as ``surplus``."""
    everything = _points(stream, obj)
    low, high = everything.min(axis=0), everything.max(axis=0)
    roles = {role.value: 0 for role in Role}
    for part in obj.parts:
        roles[part.role.value] += (part.stop - part.start) * (part.layer == 0)
    top = visible_stretches(stream, obj)
    common = ObjectFigures(
        kind=obj.kind,
        block=obj.block,
        box_mm=(float(low[0]), float(low[1]), float(high[0]), float(high[1])),
        stitches=sum(p.stop - p.start for p in obj.parts),
        by_role=roles,
        surplus=sum(p.stop - p.start for p in obj.parts if p.layer > 0),
        thread_mm=float(sum(lengths_mm(xy).sum() for xy in top)),
    )
    top = [xy for xy in top if len(xy) > 2] or [xy for xy in top if len(xy) > 1]
    if not top:
        return common
    lower = _stretches(stream, obj, Role.UNDERLAY, _seen_layer(obj))
    measure = {Kind.SATIN: _satin, Kind.FILL: _fill, Kind.RUN: _run}[obj.kind]
    return common._replace(**measure(top, lower))


def _points(stream: Stream, obj: SewnObject) -> FloatArray:
    """(k, 2) all needle points of an object, millimetres."""
    parts = [stream.xy[p.start : p.stop] for p in obj.parts]
    points: FloatArray = np.concatenate(parts) / UNITS_PER_MM
    return points


def visible_stretches(stream: Stream, obj: SewnObject) -> list[FloatArray]:
    """Needle points (mm) of each stretch of covering stitching, surplus layers left out (unless
    there is nothing else)."""
    return _stretches(stream, obj, Role.TOP, _seen_layer(obj))


def _seen_layer(obj: SewnObject) -> int | None:
    return 0 if any(p.layer == 0 for p in obj.parts if p.role is Role.TOP) else None


def _stretches(stream: Stream, obj: SewnObject, role: Role, layer: int | None) -> list[FloatArray]:
    """Needle points of each part of a role (and layer, unless None), millimetres.

    The lone first point of an untied thread counts as its tie; its hole is where the stitching
    after it starts.
    """
    lone = {p.stop for p in obj.parts if p.role is Role.TIE and p.stop - p.start == 1}
    return [
        stream.xy[p.start - (p.start in lone) : p.stop] / UNITS_PER_MM
        for p in obj.parts
        if p.role is role and (layer is None or p.layer == layer)
    ]


def _satin(top: list[FloatArray], lower: list[FloatArray]) -> dict[str, Any]:
    from restitch.geometry import ladder

    rungs = max((ladder(xy * UNITS_PER_MM) for xy in top), key=len)
    return {
        "length_mm": rungs.length_mm,
        "column_width_mm": rungs.width_mm,
        "spacing_mm": rungs.satin_spacing_mm,
        "underlays": underlay_of(Kind.SATIN, rungs, lower),
    }


def _fill(top: list[FloatArray], lower: list[FloatArray]) -> dict[str, Any]:
    from restitch.geometry import ladder

    sections = [ladder(xy * UNITS_PER_MM) for xy in top]
    largest = max(sections, key=len)
    spacing = largest.fill_spacing_mm
    axis = largest.axis
    inner = [
        lengths_mm(s.xy_mm[a : b + 1])[1:-1]
        for s in sections
        for a, b in zip(s.first.tolist(), s.last.tolist(), strict=True)
        if b - a > 2
    ]
    stitch = median(np.concatenate(inner)) if inner else float(largest.width_mm)
    return {
        "spacing_mm": spacing,
        "row_pitch_mm": spacing / 2,
        "stitch_mm": stitch,
        "angle_deg": float(np.degrees(np.arctan2(-axis[1], axis[0])) % 180),
        "row_offset": _row_offset(largest.xy_mm, largest.first, largest.last, axis, stitch),
        "underlays": underlay_of(Kind.FILL, largest, lower),
    }


def _row_offset(
    xy_mm: FloatArray, first: Any, last: Any, axis: FloatArray, stitch_mm: float
) -> float | None:
    """Middle shift between the hole patterns of neighbouring rows, in stitches, 0..0.5."""
    phase = [
        np.exp(2j * np.pi * (xy_mm[a + 1 : b] @ axis) / stitch_mm).mean()
        for a, b in zip(first.tolist(), last.tolist(), strict=True)
        if b - a > 2
    ]
    if len(phase) < 2:
        return None
    turn = np.abs(np.angle(np.array(phase[1:]) / np.array(phase[:-1])))
    return median(turn) / (2 * np.pi)


def _run(top: list[FloatArray], lower: list[FloatArray]) -> dict[str, Any]:
    """Path, passes and stitch length: a bean stitch goes over each step three times."""
    steps, key = sewn_steps(top)
    length = lengths(steps[:, 1] - steps[:, 0])
    _, count = np.unique(key, axis=0, return_counts=True)
    passes = int(median(count)) if len(count) else 1
    return {
        "stitch_mm": median(length) if len(length) else None,
        "passes": passes,
        "length_mm": float(length.sum() / passes),
    }


def sewn_steps(stretches: list[FloatArray]) -> tuple[FloatArray, IndexArray]:
    """The stitches (k, 2, 2) of some stretches, start and end in millimetres, and for each the
    numbers (k, 2) of its two holes, the lower first: steps sewn over again have the same."""
    ends = np.concatenate([np.stack([xy[:-1], xy[1:]], axis=1) for xy in stretches])
    ends = ends[lengths(ends[:, 1] - ends[:, 0]) > LEAST_STEP_MM]
    hole = np.rint(ends / HOLE_MM).astype(np.int64)
    return ends, np.sort(hole[..., 0] * 1_000_003 + hole[..., 1], axis=1)


LEAST_STEP_MM = 0.05
"""Half a step of the file: shorter is no stitch."""
HOLE_MM = 0.2
"""Holes nearer than about this are one when passes are counted."""

"""Judge: does an object have the underlay that its width asks for? By shape, not by count."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from restitch.fabrics.model import Profile
from restitch.geometry import KEPT, Ladder, ladder_of, outline
from restitch.geometry.small import along_mm, median, nearest, thread_mm
from restitch.model import UNITS_PER_MM, IntArray, Kind, PlannedObject, Role

NARROW_MM = 3.0
"""Zigzag under a narrower column is excess; above it is right for several fabrics."""
WIDEST_MM = 15.0
"""Wider columns are left alone."""
OFF_CENTRE = 0.15
"""Holes nearer to the centre line than this share of the half width are on neither side."""
SIDE_CHANGES = (4, 3)
"""So many side changes in a row are a zigzag; the second where they are a quarter of the holes."""
NARROW_PITCH_MM = 2.0
"""A zigzag is tighter than this; a few holes of an edge run that happen to change side lie wider
(2 to 4 mm is a usual zigzag, from memory; faulty ones measured 0.7 to 1.4)."""
DENSE_CHANGES, DENSE_PITCH_MM = 6, 1.3
"""So many side changes at a tighter two-line pitch are a dense zigzag under any width: 2 to 4 mm
is usual (from memory), sound files go down to 1.4 (measured)."""
HOLES_PER_MM, HOLES_FREE = 1.8, 6
"""More underlay holes per mm of column than this, plus a few, is excess. Measured."""
LOAD_SLACK, LOAD_BASE, LOAD_PER_MM = 1.45, 2.2, 1.54
"""Above 3 mm underlay thread per mm of column up to slack x (base + slope x (width - 1)) is sound:
edge run and zigzag. Measured."""
MISSING_WIDTH_MM, MISSING_LENGTH_MM = 0.9, 3.0
"""Smaller columns need no underlay."""
FILL_AREA_MM2 = 6.0
"""Smaller fills need none."""
MESH_LOAD, MESH_AREA_MM2 = 1.0, 40.0
"""Underlay thread beyond the outline, mm per mm2 (rows 2 mm apart both ways), and the area from
which it tells. Sound fills reach 0.6."""
FEW_COLUMNS, FEW_SHARE, SMALL_STITCHES = 3, 0.12, 40
"""Fewer flagged columns than this (or share of all), each under so many underlay stitches, are a
misreading. Our choice."""
MAIN_SHARE = 0.9
"""A column in pieces is judged only where one of them has this share of the cover."""


class UnderlayVerdict(NamedTuple):
    """What is wrong with an object's underlay."""

    fault: str
    """``excess`` or ``missing``."""
    text: str
    """What was seen, with the figure that told."""
    stitches: int
    """Underlay needle points as sewn."""
    width_mm: float
    """Width of the column; 0 for fills."""


def underlay_verdicts(
    plan: Sequence[PlannedObject], profile: Profile
) -> dict[int, UnderlayVerdict]:
    """Return the verdict on every object whose underlay is unsuited or missing, by object id.

    A few doubtful columns are left alone: one point misread turns a sound underlay into a
    missing one.
    """
    columns = [o for o in plan if o.kind is Kind.SATIN and not o.open]
    flagged = {o.id: v for o in columns if (v := column_verdict(o)) is not None}
    for fault in ("excess", "missing"):
        same = {i: v for i, v in flagged.items() if v.fault == fault}
        if _doubtful(same, columns):
            flagged = {i: v for i, v in flagged.items() if i not in same}
    fills = {
        o.id: v
        for o in plan
        if o.kind is Kind.FILL and not o.open and (v := fill_verdict(o, profile)) is not None
    }
    return flagged | fills


def _doubtful(flagged: Mapping[int, UnderlayVerdict], columns: Sequence[PlannedObject]) -> bool:
    """Whether so few columns are flagged, of so little weight, that they may be misread.

    A column that seems to lack underlay among many that have it was most likely read apart from
    its own: there only the share of the file counts.
    """
    few = max(FEW_COLUMNS, FEW_SHARE * len(columns))
    if len(flagged) >= few or 2 * len(flagged) >= len(columns):
        return False
    return all(v.stitches < SMALL_STITCHES for v in flagged.values())


def main_column(obj: PlannedObject) -> Ladder | None:
    """Ladder of a column's cover, or None where it is in pieces or no ladder."""
    tops = [p for p in obj.pieces if p.role is Role.TOP and p.layer == 0]
    if not tops:
        return None
    main = max(tops, key=lambda p: len(p.xy))
    if len(main.xy) < MAIN_SHARE * sum(len(p.xy) for p in tops):
        return None
    rungs = ladder_of(main)
    return rungs if rungs.is_regular else None


def underlay_points(obj: PlannedObject) -> list[IntArray]:
    """Needle points of each underlay piece."""
    return [p.xy for p in obj.pieces if p.role is Role.UNDERLAY and p.layer == 0]


@lru_cache(maxsize=KEPT)
def column_verdict(obj: PlannedObject) -> UnderlayVerdict | None:
    """Return what is wrong with the underlay of one satin column, None where it is sound."""
    if any(p.layer for p in obj.pieces) or (rungs := main_column(obj)) is None:
        return None
    width, length = rungs.width_mm, rungs.length_mm
    if width > WIDEST_MM:
        return None
    pieces = underlay_points(obj)
    holes = sum(map(len, pieces))
    if length < max(MISSING_LENGTH_MM, width / 2.0) and holes > HOLES_PER_MM * length + HOLES_FREE:
        # far more underlay than there is column: it belongs to something else
        return None
    if not holes:
        travel = any(p.role is Role.TRAVEL for p in obj.pieces)
        if travel or width < MISSING_WIDTH_MM or length < MISSING_LENGTH_MM:
            return None
        return UnderlayVerdict("missing", "no underlay", 0, width)
    found = _excess(rungs, np.concatenate(pieces), thread_mm(pieces))
    return UnderlayVerdict("excess", found, holes, width) if found else None


def _excess(rungs: Ladder, holes: IntArray, laid_mm: float) -> str:
    """What makes the underlay of a column too much, or ``""``."""
    width, length = rungs.width_mm, rungs.length_mm
    changes, pitch = zigzag(rungs, holes)
    if width < NARROW_MM:
        most, some = SIDE_CHANGES
        dense = pitch < NARROW_PITCH_MM
        if dense and (changes >= most or (changes >= some and 4 * changes >= len(holes))):
            return f"zigzag under a column of {width:.1f} mm"
        if len(holes) > HOLES_PER_MM * length + HOLES_FREE:
            return f"{len(holes) / length:.1f} underlay stitches per mm"
        return ""
    if changes >= DENSE_CHANGES and pitch < DENSE_PITCH_MM:
        return f"zigzag at {pitch:.1f} mm where 2 to 4 is usual"
    load = laid_mm / max(length, 1e-6)
    if load > LOAD_SLACK * (LOAD_BASE + LOAD_PER_MM * (width - 1.0)):
        return f"{load:.0f} mm of underlay thread per mm of column"
    return ""


def zigzag(rungs: Ladder, holes: IntArray) -> tuple[int, float]:
    """Return the longest run of holes that change from side to side of a column, and its pitch.

    The run is counted in side changes; the pitch is two-line (same side to same side), mm, the
    median over the run; infinite where no hole changes side.
    """
    line = rungs.smooth_centre_mm
    points = holes / float(UNITS_PER_MM)
    near = nearest(points, line)
    way = rungs.headings[near]
    off = points - line[near]
    side = (way[:, 0] * off[:, 1] - way[:, 1] * off[:, 0]) / max(rungs.width_mm / 2.0, 1e-6)
    clear = np.abs(side) >= OFF_CENTRE
    side, near = side[clear], near[clear]
    changed = np.concatenate([[0], (side[:-1] * side[1:] < 0).astype(np.intp), [0]])
    edges = np.flatnonzero(np.diff(changed))
    if not len(edges):
        return 0, np.inf
    starts, counts = edges[::2], edges[1::2] - edges[::2]
    longest = int(np.argmax(counts))
    run = near[starts[longest] : starts[longest] + counts[longest] + 1]
    along = along_mm(line)
    return int(counts[longest]), 2.0 * median(np.abs(np.diff(along[run])))


def fill_verdict(obj: PlannedObject, profile: Profile) -> UnderlayVerdict | None:
    """Return what is wrong with the underlay of one fill, None where it is sound."""
    if any(p.layer for p in obj.pieces):
        return None
    pieces = underlay_points(obj)
    if not pieces:
        travel = obj.pieces and any(p.role is Role.TRAVEL for p in obj.pieces[:2])
        if travel or rows_area_mm2(obj) < FILL_AREA_MM2:
            return None
        return UnderlayVerdict("missing", "no underlay", 0, 0.0)
    thread = thread_mm(pieces)
    area = rows_area_mm2(obj)
    if area < MESH_AREA_MM2 or thread < MESH_LOAD * area:
        return None
    load = (thread - outline(obj).length) / area
    if load <= MESH_LOAD:
        return None
    text = f"{load:.1f} mm of underlay thread per mm2"
    return UnderlayVerdict("excess", text, sum(map(len, pieces)), 0.0)


def rows_area_mm2(obj: PlannedObject) -> float:
    """About the area under a fill's rows: their length times the row pitch."""
    total = 0.0
    for piece in obj.pieces:
        if piece.role is Role.TOP and piece.layer == 0 and len(piece.xy) > 3:
            rows = ladder_of(piece)
            if rows.is_regular:
                total += float(rows.widths_mm.sum()) * rows.fill_spacing_mm / 2.0
    return total

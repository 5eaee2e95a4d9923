"""An object taken apart for ordering: its ties, its underlay, its top."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from restitch.fix.context import Context
from restitch.geometry import Ladder, ladder, ladder_of
from restitch.model import (
    AS_LAID_ANEW,
    UNITS_PER_MM,
    Command,
    FloatArray,
    IntArray,
    Kind,
    Link,
    Piece,
    PlannedObject,
    Role,
    read_only,
)

Pieces = tuple[Piece, ...]

_LOOSE = (Role.TIE, Role.TRAVEL)
SAME_HOLE_MM = 0.3
"""A tie that begins farther than this from the body is the first hole of the body too."""


@dataclass(frozen=True, eq=False)
class Body:
    """An object between its ties. ``head`` and ``tail`` are loose: they suit the neighbours."""

    obj: PlannedObject
    head: Pieces
    under: Pieces
    """Underlay, first piece to last."""
    joint: Pieces
    """Travel or ties between underlay and top."""
    top: Pieces
    tail: Pieces
    fixed: bool
    """Sewn as found: holds a stop or a cut, layers, or was read with too little confidence."""
    entry_found: bool = True
    """The core begins where the object began in the source."""
    exit_found: bool = True

    @property
    def core(self) -> Pieces:
        """Everything but the loose ends."""
        return self.under + self.joint + self.top

    @property
    def entry(self) -> IntArray:
        """(2,) where the core begins, 0.1 mm."""
        entry: IntArray = self.core[0].xy[0]
        return entry

    @property
    def exit(self) -> IntArray:
        """(2,) where the core ends, 0.1 mm."""
        end: IntArray = self.core[-1].xy[-1]
        return end

    @cached_property
    def rungs(self) -> Ladder:
        """Ladder of the top."""
        return ladder_of(self.top[0]) if len(self.top) == 1 else ladder(points(self.top))

    @cached_property
    def is_ring(self) -> bool:
        """Whether the top is a satin column that closes on itself."""
        return self.obj.kind is Kind.SATIN and self.rungs.is_ring

    @cached_property
    def centre_mm(self) -> FloatArray:
        """(k, 2) centre line of the top."""
        return self.rungs.smooth_centre_mm


def bodies(plan: Iterable[PlannedObject], context: Context) -> tuple[Body, ...]:
    """Return the objects taken apart, in the same order."""
    taken = (_with_ends(_body(o, context.profile.limits.confidence), context) for o in plan)
    return tuple(replace(b, fixed=True) if b.obj.id in context.held else b for b in taken)


def _with_ends(body: Body, context: Context) -> Body:
    """Say whether fixes have moved the ends of the core away from ties and neighbours."""
    if not body.obj.marks or not body.core:
        return body
    source, found = context.source, context.objects[body.obj.id]
    stitches = found.start + np.flatnonzero(
        source.command[found.start : found.stop] == Command.STITCH
    )
    begin = body.head[0].xy[0] if body.head else source.xy[stitches[0]]
    end = body.tail[-1].xy[-1] if body.tail else source.xy[stitches[-1]]
    first, last = body.core[0], body.core[-1]
    return replace(
        body,
        entry_found=first.source != AS_LAID_ANEW or not _far(first.xy[0], begin),
        exit_found=last.source != AS_LAID_ANEW or not _far(last.xy[-1], end),
    )


def points(pieces: Iterable[Piece]) -> IntArray:
    """(n, 2) needle points of pieces one after another."""
    found = [p.xy for p in pieces]
    return np.concatenate(found) if found else np.zeros((0, 2), np.int32)


def _body(obj: PlannedObject, confidence: float) -> Body:
    pieces = obj.pieces
    solid = [i for i, p in enumerate(pieces) if p.role not in _LOOSE]
    if not solid:
        return Body(obj, (), (), (), pieces, (), fixed=True)
    head, core, tail = pieces[: solid[0]], pieces[solid[0] : solid[-1] + 1], pieces[solid[-1] + 1 :]
    head, core = _first_hole(head, core)
    tops = [i for i, p in enumerate(core) if p.role is Role.TOP]
    first_top = tops[0] if tops else 0
    unders = [i for i in range(first_top) if core[i].role is Role.UNDERLAY]
    cut = unders[-1] + 1 if unders else 0
    under, joint, top = core[:cut], core[cut:first_top], core[first_top:]
    broken = any(p.link is not Link.SEWN for p in core[1:]) or any(
        p.link is Link.STOP for p in pieces
    )
    layered = any(p.layer for p in core) or any(p.role is Role.UNDERLAY for p in top)
    unsure = obj.confidence < confidence
    return Body(obj, head, under, joint, top, tail, fixed=broken or layered or unsure)


def _first_hole(head: Pieces, core: Pieces) -> tuple[Pieces, Pieces]:
    """Give the core its first hole back where the reader counted it to the tie only.

    A tie closes on the hole it began in. Where the body goes on from there without visiting the
    hole again, the tie's last point is the body's first (a lone point is no tie at all).
    """
    if not head or head[-1].role is not Role.TIE or core[0].link is not Link.SEWN:
        return head, core
    last, ties = head[-1], points(p for p in head if p.role is Role.TIE)
    hole = last.xy[-1]
    if _far(hole, ties[0]) or not _far(hole, core[0].xy[0]):
        return head, core
    begun = core[0]
    whole = Piece(
        role=begun.role,
        xy=read_only(np.vstack([hole[None], begun.xy])),
        link=last.link if len(last.xy) == 1 else Link.SEWN,
        layer=begun.layer,
        source=last.source if last.source == AS_LAID_ANEW else last.source + len(last.xy) - 1,
    )
    rest = Piece(last.role, read_only(last.xy[:-1]), last.link, last.layer, last.source)
    return (*head[:-1], *((rest,) if len(rest.xy) else ())), (whole, *core[1:])


def _far(a: IntArray, b: IntArray) -> bool:
    return bool(np.hypot(*(a - b).astype(float)) > SAME_HOLE_MM * UNITS_PER_MM)


def turned(pieces: Pieces) -> Pieces:
    """Return unbroken pieces sewn from the other end."""
    return tuple(
        Piece(p.role, read_only(p.xy[::-1]), Link.SEWN, p.layer, AS_LAID_ANEW)
        for p in reversed(pieces)
    )


def linked(pieces: Pieces, link: Link) -> Pieces:
    """Return the pieces with another link to their first point."""
    if not pieces or pieces[0].link is link:
        return pieces
    return (replace(pieces[0], link=link), *pieces[1:])


def run_of(role: Role, xy: IntArray) -> Pieces:
    """Return newly laid points as pieces (none for no points)."""
    return (Piece(role, read_only(xy), Link.SEWN),) if len(xy) else ()

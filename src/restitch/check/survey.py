"""One look over a design, shared by all findings: arrays once, geometry once per object."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from restitch.check.judge_spacing import SpacingVerdict, spacing_verdicts
from restitch.check.judge_stack import StackVerdict, stack_verdicts
from restitch.check.judge_underlay import UnderlayVerdict, underlay_verdicts
from restitch.fabrics.model import Profile
from restitch.geometry import Ladder, ladder_of, outline
from restitch.model import (
    UNITS_PER_MM,
    BoolArray,
    ByteArray,
    Finding,
    FloatArray,
    IntArray,
    Kind,
    PlannedObject,
    Role,
    SewnObject,
    Stream,
)
from restitch.plan import links_of, plan_of

if TYPE_CHECKING:
    from shapely import Geometry

ROLES = tuple(Role)
"""Roles by their number in `Survey.role`."""
NO_OBJECT = -1
SEWN, JUMP, TRIM, STOP = range(4)
"""Ranks of `Survey.link`."""

FAULT, WARNING, NOTE = "fault", "warning", "note"


@dataclass(frozen=True, eq=False)
class Survey:
    """A design laid out for inspection; everything is worked out at first use and kept.

    The arrays have one row for each of the k STITCH records, in sewing order.
    """

    stream: Stream
    objects: tuple[SewnObject, ...]
    profile: Profile

    @cached_property
    def xy(self) -> IntArray:
        """(k, 2) needle points, 0.1 mm."""
        return self.stream.xy[self.records]

    @cached_property
    def records(self) -> NDArray[np.intp]:
        """(k,) record of each needle point."""
        return self.stream.stitch_index

    @cached_property
    def link(self) -> ByteArray:
        """(k,) how the needle got here: `SEWN`, `JUMP`, `TRIM` (or colour change) or `STOP`."""
        return links_of(self.stream)

    @cached_property
    def step_mm(self) -> FloatArray:
        """(k,) way from the needle point before; 0 for the first."""
        step = np.diff(self.xy, axis=0, prepend=self.xy[:1]).astype(np.float64)
        return np.hypot(step[:, 0], step[:, 1]) / UNITS_PER_MM

    @cached_property
    def sewn(self) -> BoolArray:
        """(k,) thread is laid from the needle point before to this one."""
        sewn: BoolArray = self.link == SEWN
        sewn[:1] = False
        return sewn

    @cached_property
    def owner(self) -> IntArray:
        """(k,) id of the object each needle point belongs to, else `NO_OBJECT`."""
        return self._of_parts[0]

    @cached_property
    def role(self) -> ByteArray:
        """(k,) number in `ROLES`."""
        return self._of_parts[1]

    @cached_property
    def layer(self) -> IntArray:
        """(k,) 0 for stitching meant to be seen, 1.. for surplus layers."""
        return self._of_parts[2]

    @cached_property
    def _of_parts(self) -> tuple[IntArray, ByteArray, IntArray]:
        owner = np.full(len(self.records), NO_OBJECT, np.int32)
        role = np.zeros(len(owner), np.uint8)
        layer = np.zeros(len(owner), np.int32)
        rows = [
            (p.start, p.stop, o.id, ROLES.index(p.role), p.layer)
            for o in self.objects
            for p in o.parts
        ]
        if rows:
            table = np.array(rows)
            spans = np.searchsorted(self.records, table[:, :2])
            for (start, stop), (_, _, obj, kind, depth) in zip(spans, table, strict=True):
                owner[start:stop], role[start:stop], layer[start:stop] = obj, kind, depth
        return owner, role, layer

    @cached_property
    def plan(self) -> tuple[PlannedObject, ...]:
        """The objects as pieces of needle points."""
        return plan_of(self.stream, self.objects)

    @cached_property
    def by_id(self) -> Mapping[int, SewnObject]:
        """The objects by their id."""
        return {o.id: o for o in self.objects}

    @cached_property
    def planned(self) -> Mapping[int, PlannedObject]:
        """The planned objects by their id."""
        return {o.id: o for o in self.plan}

    @cached_property
    def stacked(self) -> Mapping[int, StackVerdict]:
        """Verdict on every object with stitching that nobody sees, by id."""
        return stack_verdicts(self.plan, self.by_id)

    @cached_property
    def dense(self) -> Mapping[int, SpacingVerdict]:
        """Verdict on every visible object sewn denser than the fabric asks for, by id."""
        return spacing_verdicts(self.visible, self.profile)

    @cached_property
    def underlain(self) -> Mapping[int, UnderlayVerdict]:
        """Verdict on every visible object whose underlay is unsuited or missing, by id."""
        return underlay_verdicts(self.visible, self.profile)

    @cached_property
    def thinned_by(self) -> Mapping[str, frozenset[int]]:
        """Ids of the objects that each fix would take thread out of, by the fix's name."""
        excess = frozenset(id_ for id_, v in self.underlain.items() if v.fault == "excess")
        return {
            "stack": frozenset(self.stacked),
            "spacing": frozenset(self.dense),
            "underlay": excess,
        }

    @cached_property
    def visible(self) -> tuple[PlannedObject, ...]:
        """Objects with visible stitching of their own: no copies, nothing hidden."""
        gone = {id_ for id_, verdict in self.stacked.items() if verdict.whole}
        return tuple(o for o in self.plan if o.id not in gone)

    @cached_property
    def ladders(self) -> Mapping[int, Ladder]:
        """The largest regular ladder of visible stitching of each satin and fill that has one."""
        found = {}
        for obj in self.visible:
            if obj.kind is Kind.RUN:
                continue
            tops = [p for p in obj.pieces if p.role is Role.TOP and p.layer == 0]
            longest = max(tops, key=lambda p: len(p.xy), default=None)
            if longest is not None and len(longest.xy) > 3:
                rungs = ladder_of(longest)
                if rungs.is_regular:
                    found[obj.id] = rungs
        return found

    @cached_property
    def outlines(self) -> Mapping[int, Geometry]:
        """Area each object covers, millimetres in file axes."""
        return {obj.id: outline(obj) for obj in self.visible}

    @cached_property
    def centre_mm(self) -> FloatArray:
        """(2,) centre of the design in file millimetres."""
        if not len(self.xy):
            return np.zeros(2)
        centre: FloatArray = (self.xy.min(axis=0) + self.xy.max(axis=0)) / (2.0 * UNITS_PER_MM)
        return centre

    def minutes(self, stitches: float = 0, trims: float = 0, colour_changes: float = 0) -> float:
        """Machine minutes at the profile's speed and seconds."""
        machine = self.profile.machine
        stopped_s = trims * machine.trim_s + colour_changes * machine.colour_change_s
        return stitches / self.profile.speed_spm + stopped_s / 60.0

    def finding(
        self,
        name: str,
        severity: str,
        text: str,
        *,
        objects: Sequence[int] = (),
        at: IntArray | None = None,
        stitches: int = 0,
        layers: float = 0.0,
        minutes: float | None = None,
        fix: str | None = None,
    ) -> Finding:
        """Return a finding placed at the middle of the (n, 2) needle points ``at`` (0.1 mm).

        Without ``at`` it lies at the middle of its first object. ``minutes`` defaults to what the
        stitches take.
        """
        if at is None and objects and objects[0] in self.planned:
            at = self.planned[objects[0]].points()
        place = None
        if at is not None and len(at):
            middle = (at.min(axis=0) + at.max(axis=0)) / (2.0 * UNITS_PER_MM) - self.centre_mm
            place = (round(float(middle[0]), 1), round(float(middle[1]), 1))
        cost = self.minutes(stitches) if minutes is None else minutes
        return Finding(
            name=name,
            severity=severity,
            text=text,
            objects=tuple(objects),
            place_mm=place,
            stitches=int(stitches),
            layers=round(float(layers), 2),
            minutes=round(float(cost), 3),
            fix=fix,
        )

"""Invented designs with their true objects, and a look at who is sewn over whom."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from designs import make_case
from restitch.fabrics import default_profile
from restitch.fix.context import Context, Plan
from restitch.geometry import outline
from restitch.geometry.overlap import overlaps
from restitch.model import Kind, Part, Role, SewnObject, Stream
from restitch.plan import Emission, emit, plan_of

ROLES = {r.value for r in Role}


@cache
def truth(
    drawing: str,
    seed: int = 3,
    fmt: str = "pes",
    breakers: tuple[str, ...] = (),
    twin: bool = False,
) -> tuple[Stream, tuple[SewnObject, ...]]:
    """The stream of an invented design and its true objects, in sewing order."""
    case = make_case(drawing, seed, fmt, breakers)
    stream = case.stream(twin)
    if fmt in ("dst", "exp", "u01"):
        stream = replace(stream, colours_known=False)
    rows = (case.twin if twin else case.broken).rows
    parts: dict[int, list[Part]] = {}
    for start, stop, art, role, layer, *_ in rows:
        if role in ROLES and art >= 0:
            parts.setdefault(art, []).append(Part(Role(role), start, stop, max(0, layer)))
    block = stream.block_of_record
    found = [
        SewnObject(
            art,
            Kind(case.kinds[art]),
            int(block[p[0].start]),
            tuple(p),
            open=bool(case.plan.design.arts[art].open),
        )
        for art, p in parts.items()
    ]
    return stream, tuple(sorted(found, key=lambda o: o.start))


def planned(
    drawing: str, *, fabric: str = "twill", vetoed: frozenset[str] = frozenset(), **case: object
) -> tuple[Plan, Context]:
    """The plan of an invented design and the context to order it in."""
    stream, objects = truth(drawing, **case)  # type: ignore[arg-type]
    context = Context(default_profile(fabric), stream, {o.id: o for o in objects}, vetoed)
    return plan_of(stream, objects), context


def present_pairs(plan: Plan) -> set[tuple[int, int]]:
    """Ids (a, b) of objects of two threads where b lies over a as the plan stands."""
    pairs = overlaps(plan, [outline(o) for o in plan])
    return {(plan[i].id, plan[j].id) for i, j in pairs if plan[i].thread != plan[j].thread}


def broken_pairs(plan: Plan, pairs: set[tuple[int, int]]) -> list[tuple[int, int]]:
    """The pairs that a plan sews the other way round."""
    place = {o.id: i for i, o in enumerate(plan)}
    return [(a, b) for a, b in pairs if place[a] > place[b]]


def top_points(plan: Plan) -> dict[int, np.ndarray]:
    """For each object the sorted holes of its visible stitching."""
    found = {}
    for obj in plan:
        xy = obj.points(Role.TOP)
        found[obj.id] = np.unique(xy, axis=0)
    return found


def sewn(plan: Plan, context: Context) -> Emission:
    """The plan as a stream."""
    return emit(plan, context.source)


__all__ = [
    "broken_pairs",
    "planned",
    "present_pairs",
    "sewn",
    "top_points",
    "truth",
]

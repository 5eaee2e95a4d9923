"""Fix ``pull``: columns and fill rows widened for the fabric's pull, free column ends drawn in
where the fabric asks for it. Runs only when asked for.

A flat file does not tell how much compensation it already holds, so this is the user's call.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from restitch.fabrics.model import Profile
from restitch.fix.context import Context, PassResult, Plan
from restitch.fix.objects import Treatment, change_of, mark, may_touch, stitch_count, treated
from restitch.geometry import Ladder, ladder_of, outline
from restitch.model import FloatArray, Kind, Piece, PlannedObject, Role
from restitch.plan import renewed
from restitch.stitch.widen import drawn_in, outward, widened

if TYPE_CHECKING:
    from shapely import Geometry

KEEP_OPEN_MM = 1.0
"""A gap or counter is never made narrower than this (COMP)."""
TOUCHING_MM = 0.15
"""Parts nearer than this already touch: two file steps. They may overlap more."""
LEAST_MM = 0.05
"""Less growth than this on each side is below the file's step."""


def run(plan: Plan, context: Context) -> PassResult:
    """Return the plan with satins and fills widened, and a change for each.

    Half of the compensation goes to each side, less where a gap to a neighbour or the object's
    own counter would fall under 1 mm. On fabrics that stretch lengthways the free ends of columns
    are drawn in by as much.
    """
    import shapely

    shapes = [outline(o) for o in plan]
    tree = shapely.STRtree(shapes)
    place = {o.id: i for i, o in enumerate(plan)}

    def treat(obj: PlannedObject) -> Treatment | None:
        if obj.kind is Kind.RUN or obj.open or not may_touch(obj, context):
            return None
        own = shapes[place[obj.id]]
        reach = KEEP_OPEN_MM + 2.0 * _most_mm(context.profile)
        near = [shapes[i] for i in tree.query(own.buffer(reach)) if i != place[obj.id]]
        return _treated(obj, own, near, context)

    return treated(plan, treat)


def _most_mm(profile: Profile) -> float:
    return profile.fabric.pull.most_mm if profile.pull_mm is None else profile.pull_mm


def _treated(
    obj: PlannedObject, own: Geometry, near: list[Geometry], context: Context
) -> Treatment | None:
    pieces: list[Piece] = []
    gains: list[FloatArray] = []
    drawn = 0
    for piece in obj.pieces:
        if piece.role is Role.TOP and piece.layer == 0 and len(piece.xy) > 3:
            rungs = ladder_of(piece)
            if rungs.is_regular:
                half = context.profile.compensation_mm(rungs.width_mm) / 2.0
                growth = np.minimum(half, room_mm(rungs, half, own, near))
                growth[growth < LEAST_MM] = 0.0
                ends = _ends_mm(obj, rungs, half, near, context.profile)
                if growth.any() or any(ends):
                    piece = renewed(piece, widened(rungs, growth, drawn_in(rungs, *ends)))
                    gains.append(2.0 * growth)
                    drawn += sum(1 for end in ends if end)
        pieces.append(piece)
    if not gains:
        return None
    gain = np.concatenate(gains)
    mean, most = round(float(gain.mean()), 2), round(float(gain.max()), 2)
    count = stitch_count(pieces)
    what = "column" if obj.kind is Kind.SATIN else "rows"
    change = change_of(
        "pull",
        "pull compensation asked for",
        f"{obj.kind}: {what} widened by {mean:.2f} mm for the pull of "
        f"{context.profile.fabric.title}" + (f", {_count(drawn)} drawn in" if drawn else ""),
        obj,
        context,
        {"stitches": count, "widened_mm": 0.0},
        {"stitches": count, "widened_mm": most},
    )
    return mark(obj, pieces, "top"), change


def _count(ends: int) -> str:
    return "one free end" if ends == 1 else f"{ends} free ends"


def _ends_mm(
    obj: PlannedObject, rungs: Ladder, half_mm: float, near: list[Geometry], profile: Profile
) -> tuple[float, float]:
    """How far both ends of a column are drawn in: cloth is pushed out along it by what it loses in
    width (ALL). An end that meets another object stays, or the joint would open."""
    if obj.kind is not Kind.SATIN or not profile.fabric.pull.shorten_ends or rungs.is_ring:
        return 0.0, 0.0
    import shapely

    left, right = rungs.rails_mm
    edges = [shapely.LineString([left[at], right[at]]) for at in (0, -1)]
    free = [all(shapely.distance(edge, shape) > TOUCHING_MM for shape in near) for edge in edges]
    return half_mm * free[0], half_mm * free[1]


def room_mm(rungs: Ladder, half_mm: float, own: Geometry, near: list[Geometry]) -> FloatArray:
    """Return how far each node may move outward, (k + 1,) mm.

    Both sides of a gap may grow, so each takes half of what is over 1 mm.
    """
    import shapely

    way = outward(rungs)
    start = rungs.nodes_mm + way * TOUCHING_MM
    end = rungs.nodes_mm + way * (KEEP_OPEN_MM + 2.0 * half_mm)
    rays = shapely.linestrings(np.stack([start, end], axis=1))
    begins = shapely.points(start)
    room = np.full(len(start), np.inf)
    for shape in (own, *near):
        shapely.prepare(shape)
        # a node that lies in the shape already, or touches it, closes nothing by growing
        hit = shapely.intersects(shape, rays) & ~shapely.intersects(shape, begins)
        if hit.any():
            crossing = shapely.intersection(rays[hit], shape)
            gap = shapely.distance(begins[hit], crossing) + TOUCHING_MM
            room[hit] = np.minimum(room[hit], np.maximum((gap - KEEP_OPEN_MM) / 2.0, 0.0))
    return room

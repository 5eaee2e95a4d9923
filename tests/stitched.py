"""Small stitching built by hand for tests: columns, fills, runs, and plans made of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from restitch.fabrics import default_profile
from restitch.fix.context import Context
from restitch.model import (
    Command,
    IntArray,
    Kind,
    Part,
    Piece,
    PlannedObject,
    Role,
    SewnObject,
    Stream,
    Thread,
    read_only,
)
from restitch.plan import plan_of


def units(points_mm) -> IntArray:
    return np.rint(np.asarray(points_mm, float) * 10).astype(np.int32)


def column(length=20.0, width=2.0, spacing=0.4, x=0.0, y=0.0, angle_deg=0.0) -> IntArray:
    """A straight satin from (x, y) along an angle: strokes across, same-side pitch ``spacing``."""
    count = round(2 * length / spacing)
    along = np.linspace(0, length, count + 1)
    across = np.where(np.arange(count + 1) % 2 == 0, -width / 2, width / 2)
    return units(turned(np.stack([along, across], axis=1), angle_deg) + np.array([x, y]))


def arc(radius=10.0, width=3.0, spacing=0.4, degrees=180.0, x=0.0, y=0.0) -> IntArray:
    """A curved satin; ``spacing`` holds on the centre line."""
    length = radius * np.radians(degrees)
    count = round(2 * length / spacing)
    at = np.radians(np.linspace(0, degrees, count + 1))
    reach = radius + np.where(np.arange(count + 1) % 2 == 0, -width / 2, width / 2)
    return units(np.stack([np.cos(at), np.sin(at)], axis=1) * reach[:, None] + [x, y])


def fill(
    width=20.0, height=10.0, spacing=0.4, stitch=4.0, slant=0.0, x=0.0, y=0.0, steps=False
) -> IntArray:
    """Rows along x, ``spacing`` every second row; ``slant`` shifts the edges with height.

    A row begins where the one before ended, unless ``steps`` asks for a stitch along the edge.
    """
    rows = round(2 * height / spacing)
    points = []
    for row in range(rows + 1):
        level = height * row / rows
        left = slant * level
        inner = np.arange(stitch * (1 + (row % 4) / 4), width - 1.0, stitch)
        across = np.concatenate([[0.0], inner[inner > 1.0], [width]])
        across = across if row % 2 == 0 else across[::-1]
        across = across[1:] if row and not steps else across
        points.append(np.stack([left + across, np.full(len(across), level)], axis=1))
    return units(np.concatenate(points) + np.array([x, y]))


def run(points_mm, stitch=2.5) -> IntArray:
    from restitch.stitch.lines import corner_stitches

    return units(corner_stitches(np.asarray(points_mm, float), stitch))


def turned(points_mm, degrees):
    a = np.radians(degrees)
    return points_mm @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])


def piece(xy, role=Role.TOP, **fields) -> Piece:
    return Piece(role, read_only(np.asarray(xy, np.int32)), **fields)


def planned(kind: Kind, *pieces: Piece, **fields) -> PlannedObject:
    return PlannedObject(0, kind, 0, 0, tuple(pieces), **fields)


Stretch = tuple[Role, IntArray] | tuple[Role, IntArray, int]


def sewn(
    *objects: tuple[Kind, Sequence[Stretch]], fabric="twill", vetoed=(), **fields
) -> tuple[tuple[PlannedObject, ...], Context]:
    """A plan and its context of objects sewn one after another, a trim and a jump before each.

    Every object is its kind and its stretches: role, needle points and (0 if left out) layer.
    ``fields`` maps a field of `SewnObject` to its values by object number.
    """
    rows: list[tuple[int, int, int]] = []
    found = []
    for number, (kind, stretches) in enumerate(objects):
        first = stretches[0][1][0]
        rows += [(*first, Command.TRIM), (*first, Command.JUMP)] if rows else []
        parts = []
        for role, xy, *layer in stretches:
            parts.append(Part(role, len(rows), len(rows) + len(xy), *layer))
            rows += [(*p, Command.STITCH) for p in np.asarray(xy).tolist()]
        extra = {name: values[number] for name, values in fields.items() if number in values}
        found.append(SewnObject(number, kind, 0, tuple(parts), **extra))
    table = np.array([*rows, (*rows[-1][:2], Command.END)], np.int32)
    stream = Stream(
        read_only(np.ascontiguousarray(table[:, :2])),
        read_only(table[:, 2].astype(np.uint8)),
        (Thread(0x205080),),
        "pes",
    )
    context = Context(default_profile(fabric), stream, {o.id: o for o in found}, frozenset(vetoed))
    return plan_of(stream, found), context


def same_plan(a, b) -> bool:
    """Whether two plans sew the same needle points in the same way."""
    return len(a) == len(b) and all(
        x.id == y.id
        and len(x.pieces) == len(y.pieces)
        and all(
            p.role is q.role and p.link is q.link and np.array_equal(p.xy, q.xy)
            for p, q in zip(x.pieces, y.pieces, strict=True)
        )
        for x, y in zip(a, b, strict=True)
    )

"""A view for these pages: every stitch a thin line, every needle hole a dot, each role its colour.

It is built of restitch's own drawing parts and of what restitch reads out of the stream.
"""

from __future__ import annotations

import numpy as np

from restitch.draw.scene import Item, Lines, Page, Rgb, Scene, Shape, circle
from restitch.draw.views import GROUND, INK
from restitch.infer import infer
from restitch.model import Command, Role, Stream
from restitch.plan import links_of

ROLE_COLOURS: dict[Role, Rgb] = {
    Role.TOP: (150, 142, 126),
    Role.UNDERLAY: (14, 107, 94),
    Role.TRAVEL: (201, 120, 34),
    Role.TIE: (161, 61, 23),
}
"""Cover grey, underlay green, travel orange, ties red (our choice)."""
TIE_MM = 1.5
"""Longer stitches belong to no tie."""
THREAD_MM, FOOT_MM, HOLE_MM = 0.09, 0.14, 0.09
"""Width of a cover thread, of what lies under it, and radius of a hole, as drawn."""


def stitches_scene(stream: Stream, page: Page) -> Scene:
    """Every stitch on a page as a thin line by what it is for, holes as dots, cuts as crosses."""
    index = stream.stitch_index
    points = page.place(stream.xy[index])
    role = roles_of(stream)[index]
    # a long stitch from tie to tie is none: formats without jumps sew there
    step_mm = np.hypot(*np.diff(points, axis=0, prepend=points[:1]).T) / page.px_per_mm
    role[(role == list(Role).index(Role.TIE)) & (step_mm > TIE_MM)] = list(Role).index(Role.TOP)
    sewn = np.append(False, np.diff(index) == 1)
    items: list[Item] = []
    for name in (Role.TOP, Role.UNDERLAY, Role.TRAVEL, Role.TIE):
        width = THREAD_MM if name is Role.TOP else FOOT_MM
        mine = np.flatnonzero(sewn & (role == list(Role).index(name)))
        runs = tuple(points[[i - 1, i]] for i in mine.tolist())
        items.append(Lines(runs, ROLE_COLOURS[name], max(1.0, width * page.px_per_mm)))
    items += _jumps(stream, points)
    on_page = ((points > 0) & (points < (page.width, page.height))).all(axis=1)
    items += _holes(points[on_page], HOLE_MM * page.px_per_mm)
    return Scene(page, GROUND, tuple(items), "Stitches and needle holes")


def roles_of(stream: Stream) -> np.ndarray:
    """(n,) number in `Role` of every record, as restitch reads the stream."""
    found = np.zeros(len(stream), np.uint8)
    for obj in infer(stream):
        for part in obj.parts:
            found[part.start : part.stop] = list(Role).index(part.role)
    return found


def _jumps(stream: Stream, points: np.ndarray) -> list[Item]:
    """Jumps dashed, a cross where the thread is cut, as in the order view."""
    link = links_of(stream)
    moves = np.flatnonzero(link[1:] > 0) + 1
    dashes = tuple(points[[i - 1, i]] for i in moves.tolist())
    arms = np.array([(-9, -9), (9, 9)]), np.array([(-9, 9), (9, -9)])
    cuts = [i for i in moves.tolist() if link[i] >= int(Command.TRIM)]
    crosses = tuple(points[i - 1] + arm for i in cuts for arm in arms)
    return [Lines(dashes, INK, 1.4, dashed=True), Lines(crosses, INK, 3.0)]


def _holes(points: np.ndarray, radius: float) -> list[Item]:
    def dot(x: float, y: float) -> Shape:
        return circle(x, y, radius, INK, INK, corners=12)

    return [dot(x, y) for x, y in np.unique(np.round(points, 1), axis=0).tolist()]

"""The four views of a design as scenes: thread, layers, objects, sewing order."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from restitch.draw.labels import labels
from restitch.draw.scene import (
    Bitmap,
    Item,
    Lines,
    Page,
    Rgb,
    Scene,
    Shape,
    Text,
    circle,
    page_for,
    runs_of,
    scale_bar,
)
from restitch.draw.strands import strands, thread_rgb, twill
from restitch.model import Command, FloatArray, Stream
from restitch.plan import links_of

INK: Rgb = (34, 48, 47)
GROUND: Rgb = (233, 228, 216)
PALE: Rgb = (255, 253, 248)
_TRIM = int(Command.TRIM)

LAYER_RAMP: tuple[Rgb, ...] = (
    (233, 228, 216),
    (188, 217, 207),
    (127, 191, 174),
    (227, 197, 103),
    (221, 143, 60),
    (185, 68, 43),
    (109, 31, 44),
)
"""Colour of 0, 1 .. 6 and more layers: paper, then sea green, then sand to wine (our choice; it
darkens steadily, so that it also reads in grey)."""

OBJECT_COLOURS: tuple[Rgb, ...] = (
    (14, 107, 94),
    (201, 120, 34),
    (74, 85, 150),
    (161, 61, 23),
    (108, 140, 44),
    (150, 62, 118),
    (60, 130, 165),
    (120, 92, 52),
)
"""Neighbours share no colour as long as there are enough; outline and number tell for certain."""


def look_scene(stream: Stream, layers: float) -> Scene:
    """The design as sewn thread on pale cloth."""
    page = page_for(stream, footer=False)
    over = 2
    fine = Page(page.x0, page.y0, page.width * over, page.height * over, 0, page.px_per_mm * over)
    cloth = twill(fine.height, fine.width, pitch_px=0.6 * fine.px_per_mm)
    pixels = strands(stream, fine, cloth)
    items: tuple[Item, ...] = (Bitmap(pixels, 0, 0, page.width, page.height),)
    return Scene(page, GROUND, items, "The design as thread")


def stack_scene(stream: Stream, layers: float) -> Scene:
    """Layers of thread, spots over the limit hatched, with a legend that marks the limit."""
    from restitch.look import frame_around, stack_height

    page = page_for(stream)
    frame = frame_around(stream)
    stack = stack_height(stream, frame)
    level = np.clip(np.round(stack.layers), 0, len(LAYER_RAMP) - 1).astype(np.intp)
    pixels = np.array(LAYER_RAMP, np.uint8)[level]
    rows, columns = np.ogrid[: level.shape[0], : level.shape[1]]
    hatched = (stack.layers > layers) & ((rows + columns) % 4 == 0)
    pixels[hatched] = INK
    corner = page.place(np.array([[frame.x0, frame.y0]]))[0]
    cell = page.px_per_mm / stack.cells_per_mm
    size = (level.shape[1] * cell, level.shape[0] * cell)
    picture = Bitmap(pixels, float(corner[0]), float(corner[1]), *size)
    items = (picture, *_footer(page), *scale_bar(page, INK), *_layer_legend(page, layers))
    return Scene(page, GROUND, items, f"Layers of thread, limit {layers:g}")


def _footer(page: Page) -> list[Item]:
    top = float(page.height - page.footer)
    box = np.array([(0, top), (page.width, top), (page.width, page.height), (0, page.height)])
    return [Shape(box, PALE, PALE)]


def _layer_legend(page: Page, layers: float) -> list[Item]:
    wide, high = min(46.0, page.width * 0.07), 14.0
    left, top = page.width - wide * len(LAYER_RAMP) - 16, page.height - page.footer + 8.0
    items: list[Item] = []
    for n, colour in enumerate(LAYER_RAMP):
        x = left + n * wide
        box = np.array([(x, top), (x + wide, top), (x + wide, top + high), (x, top + high)])
        items.append(Shape(box, colour, INK))
        words = f"{n}+" if n == len(LAYER_RAMP) - 1 else str(n)
        items.append(Text(x + wide / 2, top + high + 10, words, 12, INK, "middle"))
    x = left + (min(layers, len(LAYER_RAMP) - 1) + 0.5) * wide
    mark = np.array([(x, top - 5), (x, top + high + 5)])
    items.append(Lines((mark,), INK, 3.0))
    words = f"layers; the bar marks the limit {layers:g}"
    items.append(Text(left, top + high + 26, words, 12, INK))
    return items


def objects_scene(stream: Stream, layers: float) -> Scene:
    """Every object outlined, in a colour its neighbours do not have, with its number; surplus
    layers are dashed, hidden objects named below."""
    from restitch.draw.objects import label_points, object_lines, object_picture, told_apart
    from restitch.infer import infer

    page = page_for(stream)
    objects = infer(stream)
    picture = object_picture(stream, objects)
    colours = [OBJECT_COLOURS[k] for k in told_apart(picture, objects, len(OBJECT_COLOURS))]
    items: list[Item] = []
    for obj, colour in zip(objects, colours, strict=True):
        items += object_lines(page, stream, obj, colour, INK)
    points = label_points(picture, page, objects)
    shown = [bool(np.isfinite(point).all()) for point in points]
    numbers = [str(obj.id) for obj in objects]
    marks = labels(
        page,
        points[shown],
        [n for n, show in zip(numbers, shown, strict=True) if show],
        [INK] * sum(shown),
        PALE,
    )
    hidden = [n for n, show in zip(numbers, shown, strict=True) if not show]
    words = f"{len(objects)} objects, numbered as inspect does; dashed: surplus layers"
    key = [Text(page.width - 16.0, page.height - page.footer * 0.36, words, 13, INK, "end")]
    if hidden:
        more = f" and {len(hidden) - 12} more" if len(hidden) > 12 else ""
        words = f"hidden under others: {', '.join(hidden[:12])}{more}"
        key.append(Text(page.width - 16.0, page.height - page.footer * 0.70, words, 12, INK, "end"))
    items = [*items, *marks, *_footer(page), *scale_bar(page, INK), *key]
    return Scene(page, GROUND, tuple(items), f"{len(objects)} objects")


def order_scene(stream: Stream, layers: float) -> Scene:
    """The way of the needle: sewing pale, jumps dashed, trims, colour changes and their order."""
    page = page_for(stream)
    index = stream.stitch_index
    points = page.place(stream.xy[index])
    block, link = stream.block_of_record[index], links_of(stream)
    items: list[Item] = []
    for number in range(int(block.max()) + 1):
        rows = np.flatnonzero(block == number)
        rgb = thread_rgb(stream, number)
        soft = tuple(int(0.45 * c + 0.55 * g) for c, g in zip(rgb, GROUND, strict=True))
        runs = runs_of(points[rows], np.flatnonzero(link[rows] > 0))
        items.append(Lines(runs, soft, max(1.0, 0.3 * page.px_per_mm)))  # type: ignore[arg-type]
    moves = np.flatnonzero(link[1:] > 0) + 1
    jumps = tuple(points[[i - 1, i]] for i in moves.tolist())
    items.append(Lines(jumps, INK, 1.2, dashed=True))
    items += _arrows(points, moves)
    items += _cut_marks(points, moves, link, block)
    items += _start_numbers(page, points, moves)
    items += _change_marks(points, block)
    items += [*_footer(page), *scale_bar(page, INK), *_order_key(page)]
    return Scene(page, GROUND, tuple(items), "Sewing order")


def _arrows(points: FloatArray, moves: np.ndarray) -> list[Item]:
    """A small head where a jump ends, for the way it goes."""
    step = points[moves] - points[moves - 1]
    length = np.hypot(step[:, 0], step[:, 1])
    far = length > 12
    along = step[far] / length[far, None]
    across = along[:, ::-1] * (1, -1)
    tip = points[moves[far]]
    heads = np.stack([tip - 8 * along + 4 * across, tip, tip - 8 * along - 4 * across], axis=1)
    return [Lines(tuple(heads), INK, 1.4)]


def _start_numbers(page: Page, points: FloatArray, moves: np.ndarray) -> list[Item]:
    """The number of each thread run at its start, where there is room for it."""
    starts = np.concatenate([[0], moves])
    words = [str(n) for n in range(1, len(starts) + 1)]
    beside = points[starts] + (11.0, -9.0)
    return labels(page, beside, words, [INK] * len(starts), PALE, must=False)


def _cut_marks(
    points: FloatArray, moves: np.ndarray, link: np.ndarray, block: np.ndarray
) -> list[Item]:
    """A small x where the thread is cut."""
    cut = [i for i in moves.tolist() if link[i] >= _TRIM and block[i] == block[i - 1]]
    arms = np.array([(-4, -4), (4, 4)]), np.array([(-4, 4), (4, -4)])
    return [Lines(tuple(points[i - 1] + arm for arm in arms), INK, 1.6) for i in cut]


def _change_marks(points: FloatArray, block: np.ndarray) -> list[Item]:
    """A numbered diamond where each colour begins."""
    items: list[Item] = []
    for number, i in enumerate([0, *(np.flatnonzero(np.diff(block)) + 1).tolist()], 1):
        x, y = points[i].tolist()
        items.append(circle(x, y, 11, PALE, INK, corners=4))
        items.append(Text(x, y, str(number), 11, INK, "middle"))
    return items


def _order_key(page: Page) -> list[Item]:
    y, x = page.height - page.footer / 2, max(page.width - 520.0, 120.0)
    dash = np.array([(x, y), (x + 34, y)])
    cross = tuple(np.add(arm, (x + 92, y)) for arm in (((-4, -4), (4, 4)), ((-4, 4), (4, -4))))
    return [
        Lines((dash,), INK, 1.2, dashed=True),
        Text(x + 40, y, "jump", 12, INK),
        Lines(cross, INK, 1.6),
        Text(x + 102, y, "trim", 12, INK),
        circle(x + 152, y, 11, PALE, INK, corners=4),
        Text(x + 152, y, "1", 11, INK, "middle"),
        Text(x + 168, y, "colours in order", 12, INK),
        Text(x + 290, y, "12", 12, INK, halo=PALE),
        Text(x + 310, y, "thread run that starts here", 12, INK),
    ]


SCENES: Mapping[str, Callable[[Stream, float], Scene]] = {
    "look": look_scene,
    "stack": stack_scene,
    "objects": objects_scene,
    "order": order_scene,
}

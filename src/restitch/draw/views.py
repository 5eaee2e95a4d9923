"""The four views of a design as scenes: thread, layers, objects, sewing order."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

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
from restitch.model import Command, FloatArray, SewnObject, Stream
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
"""Objects whose boxes meet share no colour as long as there are enough; the number tells them apart
for certain."""


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
    """Every object in a colour of its own with its number; surplus layers are dashed."""
    from restitch.infer import infer

    page = page_for(stream)
    objects = infer(stream)
    items: list[Item] = []
    labels: list[Item] = []
    for obj, colour in zip(objects, _told_apart(stream, objects), strict=True):
        width = max(1.0, 0.3 * page.px_per_mm)
        for part in obj.parts:
            at = np.arange(part.start, part.stop)
            at = at[stream.command[at] == Command.STITCH]
            if len(at) < 2:
                continue
            points = page.place(stream.xy[at])
            runs = runs_of(points, np.flatnonzero(np.diff(at) != 1) + 1)
            items.append(Lines(runs, colour, width, dashed=part.layer > 0))
        labels.append(_label(page, stream, obj.start, obj.stop, str(obj.id + 1), colour))
    key = Text(
        page.width - 16.0,
        page.height - page.footer / 2,
        f"{len(objects)} objects, numbered in sewing order; dashed: surplus layers",
        13,
        INK,
        "end",
    )
    items = [*items, *labels, *_footer(page), *scale_bar(page, INK), key]
    return Scene(page, GROUND, tuple(items), f"{len(objects)} objects")


def _told_apart(stream: Stream, objects: Sequence[SewnObject]) -> list[Rgb]:
    """A colour for each object that none of the objects before it uses where their boxes meet."""
    points = [stream.xy[o.start : o.stop] for o in objects]
    low = np.array([p.min(axis=0) for p in points]).reshape(-1, 2)
    high = np.array([p.max(axis=0) for p in points]).reshape(-1, 2)
    taken = np.zeros(len(objects), np.intp)
    for n in range(len(objects)):
        meets = ((low[:n] <= high[n]) & (low[n] <= high[:n])).all(axis=1)
        used = np.bincount(taken[:n][meets], minlength=len(OBJECT_COLOURS))
        start = n % len(OBJECT_COLOURS)
        taken[n] = (start + int(np.roll(used, -start).argmin())) % len(OBJECT_COLOURS)
    return [OBJECT_COLOURS[k] for k in taken]


def _label(page: Page, stream: Stream, start: int, stop: int, words: str, colour: Rgb) -> Text:
    at = np.arange(start, stop)
    points = page.place(stream.xy[at[stream.command[at] == Command.STITCH]])
    middle = points[np.argmin(np.hypot(*(points - points.mean(axis=0)).T))]
    return Text(float(middle[0]), float(middle[1]), words, 12, colour, "middle", halo=PALE)


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
    items += _cut_marks(points, moves, link, block)
    items += _change_marks(points, block)
    items += [*_footer(page), *scale_bar(page, INK), *_order_key(page)]
    return Scene(page, GROUND, tuple(items), "Sewing order")


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
    y, x = page.height - page.footer / 2, page.width - 330.0
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
    ]


SCENES: Mapping[str, Callable[[Stream, float], Scene]] = {
    "look": look_scene,
    "stack": stack_scene,
    "objects": objects_scene,
    "order": order_scene,
}

"""Close-ups: a window of a design drawn by restitch's own views, and small files of it."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace

import numpy as np
from PIL import Image
from stitches import stitches_scene

from restitch.draw.png import png_bytes
from restitch.draw.scene import Page, Scene
from restitch.draw.views import SCENES
from restitch.infer import infer
from restitch.model import UNITS_PER_MM, Command, Stream, read_only

AROUND_MM = 8.0
"""Stitches that begin this far outside a window may still reach into it."""
COLOURS = {"look": 56, "stack": 128, "objects": 64, "order": 40, "stitches": 24}
"""Colours of a picture's palette, by view."""
LEGEND_PX = (342, 56)
"""Size of the key that the stack view draws at the right of its foot."""


@dataclass(frozen=True, slots=True)
class Window:
    """A rectangle of the design, millimetres in file axes."""

    left: float
    top: float
    width: float
    height: float

    @property
    def corners(self) -> np.ndarray:
        """(2, 2) left top and right bottom corner."""
        return np.array([(self.left, self.top), (self.left + self.width, self.top + self.height)])


def middle_of(stream: Stream) -> np.ndarray:
    """(2,) centre of the needle points in file millimetres, as reports place things."""
    points = stream.xy[stream.stitch_index]
    return (points.min(axis=0) + points.max(axis=0)) / (2.0 * UNITS_PER_MM)


def objects_in(stream: Stream, window: Window) -> Stream:
    """The stream with only the objects that lie wholly in a window."""
    low, high = window.corners * UNITS_PER_MM
    command = stream.command.copy()
    for obj in infer(stream):
        mine = slice(obj.start, obj.stop)
        if not ((stream.xy[mine] >= low) & (stream.xy[mine] <= high)).all():
            command[mine] = np.where(command[mine] == Command.STITCH, Command.JUMP, command[mine])
    return replace(stream, command=read_only(command))


def drawn(stream: Stream, view: str, window: Window | None, layers: float, width: int) -> bytes:
    """Return a view of a stream, or of a window of it, as a small PNG ``width`` pixels wide.

    ``view``: one of `restitch draw --as`, or ``stitches`` (needs a window).
    """
    if view == "stitches":
        assert window is not None
        picture = _pixels(stitches_scene(stream, _page(window, width)))
    elif window is None:
        picture = _pixels(SCENES[view](stream, layers))
    else:
        scene = SCENES[view](_near(stream, window), layers)
        whole = _pixels(scene)
        picture = whole.crop(_box(scene.page, window))
    size = (width, round(picture.height * width / picture.width))
    picture = picture.resize(size, Image.Resampling.LANCZOS)
    if window is not None and view == "stack":
        picture = _with_key(picture, whole)
    return _small(picture, view)


def _near(stream: Stream, window: Window) -> Stream:
    """The stream with only the stitches in and near a window; a lone stitch at either corner of
    that area holds the page to the same size whatever is sewn there."""
    low, high = window.corners * UNITS_PER_MM + [[-AROUND_MM * UNITS_PER_MM]] * np.array(
        [[1], [-1]]
    )
    inside = ((stream.xy >= low) & (stream.xy <= high)).all(axis=1)
    command = np.where(~inside & (stream.command == Command.STITCH), Command.JUMP, stream.command)
    corners = np.rint([low, low, high, high]).astype(np.int32)
    marks = np.array([Command.JUMP, Command.STITCH] * 2)
    last = np.flatnonzero(command == Command.STITCH)[-1] + 1
    xy = np.concatenate([stream.xy[:last], corners, stream.xy[last:]])
    command = np.concatenate([command[:last], marks, command[last:]])
    return replace(stream, xy=read_only(xy), command=read_only(command.astype(np.uint8)), data=None)


def _page(window: Window, width: int) -> Page:
    """A page that is the window, to be drawn that many pixels wide."""
    scale = width / window.width
    (x0, y0), _ = window.corners * UNITS_PER_MM
    return Page(float(x0), float(y0), width, round(window.height * scale), 0, scale)


def _pixels(scene: Scene) -> Image.Image:
    return Image.open(io.BytesIO(png_bytes(scene))).convert("RGB")


def _box(page: Page, window: Window) -> tuple[int, int, int, int]:
    (left, top), (right, bottom) = np.rint(page.place(window.corners * UNITS_PER_MM)).astype(int)
    return int(left), int(top), int(right), int(bottom)


def _with_key(picture: Image.Image, whole: Image.Image) -> Image.Image:
    """The picture with the key of the stack view below it."""
    wide, high = LEGEND_PX
    key = whole.crop((whole.width - wide, whole.height - high, whole.width, whole.height))
    sheet = Image.new("RGB", (picture.width, picture.height + high), key.getpixel((0, high - 2)))
    sheet.paste(picture, (0, 0))
    sheet.paste(key, (max(picture.width - wide, 0), picture.height))
    return sheet


def _small(picture: Image.Image, view: str) -> bytes:
    """The picture with few colours; the octree keeps the rare ones of the stack view's key."""
    method = Image.Quantize.FASTOCTREE if view == "stack" else Image.Quantize.MEDIANCUT
    out = io.BytesIO()
    palette = picture.quantize(COLOURS[view], method, dither=Image.Dither.NONE)
    palette.save(out, "PNG", optimize=True)
    return out.getvalue()

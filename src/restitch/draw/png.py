"""A scene as PNG bytes: drawn at double size and halved, so that edges are smooth."""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from restitch.draw.scene import Bitmap, Item, Lines, Scene, Shape, Text
from restitch.model import FloatArray

_OVER = 2
"""Drawn this many times as large."""
_DASH = (6.0, 4.0)
"""Pixels on and off."""


def png_bytes(scene: Scene) -> bytes:
    """Return the scene as a PNG; equal scenes give equal bytes."""
    from PIL import Image, ImageDraw

    size = (scene.page.width * _OVER, scene.page.height * _OVER)
    image = Image.new("RGB", size, scene.ground)
    draw = ImageDraw.Draw(image)
    for item in scene.items:
        _put(image, draw, item)
    out = io.BytesIO()
    image.reduce(_OVER).save(out, "PNG", optimize=False)
    return out.getvalue()


def _put(image: Any, draw: Any, item: Item) -> None:
    from PIL import Image

    match item:
        case Lines():
            width = max(1, round(item.width * _OVER))
            for run in item.runs:
                for piece in _dashes(run) if item.dashed else (run,):
                    draw.line(np.ascontiguousarray(piece * _OVER, np.float32), item.rgb, width)
        case Shape():
            corners = [tuple(p) for p in (item.points * _OVER).tolist()]
            draw.polygon(corners, item.fill, item.line, _OVER)
        case Text():
            _write(draw, item)
        case Bitmap():
            part = Image.fromarray(item.pixels)
            size = (max(1, round(item.width * _OVER)), max(1, round(item.height * _OVER)))
            image.paste(
                part.resize(size, Image.Resampling.BILINEAR) if part.size != size else part,
                (round(item.x * _OVER), round(item.y * _OVER)),
            )


def _write(draw: Any, item: Text) -> None:
    from PIL import ImageFont

    anchor = {"start": "lm", "middle": "mm", "end": "rm"}[item.anchor]
    draw.text(
        (item.x * _OVER, item.y * _OVER),
        item.text,
        item.rgb,
        ImageFont.load_default(item.size * _OVER),
        anchor,
        stroke_width=2 * _OVER if item.halo else 0,
        stroke_fill=item.halo,
    )


def _dashes(run: FloatArray) -> list[FloatArray]:
    """Return the drawn pieces of a dashed line."""
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(run, axis=0).T))])
    begins = np.arange(0.0, length[-1], sum(_DASH))
    pieces = []
    for begin, end in zip(begins, np.minimum(begins + _DASH[0], length[-1]), strict=True):
        inside = length[(length > begin) & (length < end)]
        at = np.concatenate([[begin], inside, [end]])
        pieces.append(np.stack([np.interp(at, length, run[:, k]) for k in (0, 1)], axis=1))
    return pieces

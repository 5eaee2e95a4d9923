"""A scene as SVG bytes: true size in millimetres, no script, no links, no dates."""

from __future__ import annotations

import base64
import io
from html import escape

import numpy as np

from restitch.draw.scene import Bitmap, Item, Lines, Rgb, Scene, Shape, Text
from restitch.model import FloatArray


def svg_bytes(scene: Scene) -> bytes:
    """Return the scene as an SVG document; equal scenes give equal bytes."""
    page = scene.page
    width_mm, height_mm = page.width / page.px_per_mm, page.height / page.px_per_mm
    body = "\n".join(_element(item) for item in scene.items)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_mm:.2f}mm"'
        f' height="{height_mm:.2f}mm" viewBox="0 0 {page.width} {page.height}" role="img"'
        f' font-family="sans-serif" stroke-linecap="round" stroke-linejoin="round">\n'
        f"<title>{escape(scene.title)}</title>\n"
        f'<rect width="{page.width}" height="{page.height}" fill="{_hex(scene.ground)}"/>\n'
        f"{body}\n</svg>\n"
    ).encode()


def _element(item: Item) -> str:
    match item:
        case Lines():
            dash = ' stroke-dasharray="6 4"' if item.dashed else ""
            path = "".join(_path(run) for run in item.runs)
            return (
                f'<path d="{path}" fill="none" stroke="{_hex(item.rgb)}"'
                f' stroke-width="{item.width:.2f}"{dash}/>'
            )
        case Shape():
            corners = " ".join(f"{x:.1f},{y:.1f}" for x, y in item.points.tolist())
            return (
                f'<polygon points="{corners}" fill="{_hex(item.fill)}" stroke="{_hex(item.line)}"/>'
            )
        case Text():
            halo = (
                f' stroke="{_hex(item.halo)}" stroke-width="3" paint-order="stroke"'
                if item.halo
                else ""
            )
            return (
                f'<text x="{item.x:.1f}" y="{item.y:.1f}" font-size="{item.size:g}"'
                f' text-anchor="{item.anchor}" dominant-baseline="central"'
                f' fill="{_hex(item.rgb)}"{halo}>{escape(item.text)}</text>'
            )
        case Bitmap():
            return (
                f'<image x="{item.x:.1f}" y="{item.y:.1f}" width="{item.width:.1f}"'
                f' height="{item.height:.1f}" preserveAspectRatio="none"'
                f' href="data:image/png;base64,{_png(item)}"/>'
            )


def _path(run: FloatArray) -> str:
    """Return relative path data in tenths of a pixel's accuracy, rounding never adding up."""
    tenths = np.round(run * 10).astype(np.int64)
    steps = np.diff(tenths, axis=0).tolist()
    x, y = tenths[0].tolist()
    moves = "".join(f"{_tenth(dx)} {_tenth(dy)} " for dx, dy in steps)
    return f"M{_tenth(x)} {_tenth(y)}l{moves.rstrip()}"


def _tenth(value: int) -> str:
    return f"{value / 10:g}"


def _hex(rgb: Rgb) -> str:
    return "#{:02x}{:02x}{:02x}".format(*rgb)


def _png(item: Bitmap) -> str:
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(item.pixels).save(out, "PNG")
    return base64.b64encode(out.getvalue()).decode("ascii")

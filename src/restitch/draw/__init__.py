"""Pictures of a design, PNG or SVG by the name of the file; equal input gives equal bytes."""

from __future__ import annotations

from pathlib import Path

from restitch.model import Stream

VIEWS = ("look", "stack", "objects", "order")


def draw(stream: Stream, path: Path, view: str = "look", *, layers: float = 3.0) -> None:
    """Write one view of a stream to a .png or .svg file, whole or not at all.

    ``layers``: the limit that the stack view marks. Raises `WriteError`.
    """
    from restitch.files import write_bytes

    write_bytes(picture(stream, path.suffix.lower(), view, layers=layers), path, replace=True)


def picture(stream: Stream, suffix: str, view: str = "look", *, layers: float = 3.0) -> bytes:
    """Return one view of a stream as the bytes of a ``.png`` or ``.svg`` file."""
    from restitch.draw.views import SCENES

    scene = SCENES[view](stream, layers)
    if suffix == ".svg":
        from restitch.draw.svg import svg_bytes

        return svg_bytes(scene)
    from restitch.draw.png import png_bytes

    return png_bytes(scene)


__all__ = ["VIEWS", "draw", "picture"]

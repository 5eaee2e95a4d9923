"""The table that `inspect` prints: one line an object."""

from __future__ import annotations

from collections.abc import Sequence

from restitch.infer.figures import figures
from restitch.model import SewnObject, Stream
from restitch.report.columns import columns
from restitch.report.model import counted

HEADINGS = (
    "object", "kind", "colour", "size, mm", "spacing, mm", "underlay", "stitches", "surplus", "sure"
)  # fmt: skip
TO_THE_RIGHT = frozenset((0, 3, 4, 6, 7, 8))
"""Columns of figures."""


def objects_text(source: object, stream: Stream, objects: Sequence[SewnObject]) -> str:
    """The table of objects of one file, columns as wide as what they hold."""
    rows = [HEADINGS, *(_row(stream, obj) for obj in objects)]
    return "\n".join([f"{source}: {counted(len(objects), 'object')}", *columns(rows, TO_THE_RIGHT)])


def _row(stream: Stream, obj: SewnObject) -> tuple[str, ...]:
    f = figures(stream, obj)
    return (
        str(obj.id),
        obj.kind.value + (" (open)" if obj.open else ""),
        f"{obj.block + 1} {stream.threads[obj.block].hex}",
        f"{f.width_mm:.1f} x {f.height_mm:.1f}",
        f"{f.spacing_mm:.2f}" if f.spacing_mm else "",
        ", ".join(f.underlay),
        str(f.stitches),
        str(f.surplus) if f.surplus else "",
        f"{obj.confidence:.0%}",
    )

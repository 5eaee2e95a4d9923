"""What `inspect` prints as JSON: the objects as ranges of records, with their figures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from restitch.infer.figures import figures
from restitch.model import SewnObject, Stream

SCHEMA = 1
"""Version of the document; it changes only when something written for it would break."""


def inspect_document(stream: Stream, objects: Sequence[SewnObject]) -> dict[str, Any]:
    """The objects of a stream, ready for JSON.

    Parts are ``[start, stop)`` of the records that `pyembroidery.read(path).stitches` lists.
    Lengths are millimetres; a figure that an object does not have is null.
    """
    return {
        "schema": SCHEMA,
        "stitches": len(stream.stitch_index),
        "objects": [_object(stream, obj) for obj in objects],
    }


def _object(stream: Stream, obj: SewnObject) -> dict[str, Any]:
    found = figures(stream, obj)
    return {
        "id": obj.id,
        "kind": obj.kind.value,
        "color": obj.block,
        "rgb": stream.threads[obj.block].hex if obj.block < len(stream.threads) else None,
        "confidence": round(obj.confidence, 3),
        "open": obj.open,
        "copy_of": obj.copy_of,
        "hidden": obj.hidden,
        "parts": [
            {"role": p.role.value, "start": p.start, "stop": p.stop, "layer": p.layer}
            for p in obj.parts
        ],
        "figures": found.document(),
    }

"""Designs and stack maps packed small for the page: raw deflate, base64."""

from __future__ import annotations

import base64
import zlib
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from restitch.look import StackMap
from restitch.model import BoolArray, IntArray, SewnObject, Stream
from restitch.plan import links_of

CHANGE_FLAG = 3
"""Flag of a move to another colour; 0 sewn, 1 jump, 2 trim, 4 stop, plus 8 where changed."""
CHANGED = 8


def packed_bytes(*arrays: NDArray[Any]) -> str:
    """Return arrays one after another, deflated without a header, as base64."""
    squeeze = zlib.compressobj(9, zlib.DEFLATED, -15)
    body = b"".join(np.ascontiguousarray(a).tobytes() for a in arrays)
    return base64.b64encode(squeeze.compress(body) + squeeze.flush()).decode("ascii")


def packed_design(
    stream: Stream, owner: IntArray, objects: Sequence[SewnObject], changed: BoolArray
) -> dict[str, Any]:
    """Return one design for the page's script.

    ``owner`` (n,) object id of each record; ``changed`` (k,) of each needle point.
    """
    at = stream.stitch_index
    xy = stream.xy[at].astype(np.int32)
    step = np.diff(xy, axis=0, prepend=np.zeros((1, 2), np.int32)).astype("<i2")
    block = stream.block_of_record[at]
    flag = links_of(stream).copy()
    flag[flag == 3] = 4
    flag[np.flatnonzero(np.diff(block, prepend=block[:1]))] = CHANGE_FLAG
    flag = (flag | (changed * CHANGED)).astype(np.uint8)
    name = {o.id: f"{o.kind.value} {o.id}" for o in objects}
    ids = np.where(owner[at] >= 0, owner[at], 65535).astype("<u2")
    return {
        "count": len(at),
        "stitches": packed_bytes(step[:, 0], step[:, 1], ids, flag),
        "colours": [t.hex for t in stream.threads],
        "names": [t.name or t.hex for t in stream.threads],
        "objects": {str(k): v for k, v in name.items()},
    }


def packed_stack(stack: StackMap) -> dict[str, Any]:
    """Return a stack map in tenths of a layer, 25.5 at most, cropped to what is stitched."""
    tenths = np.clip(np.round(stack.layers * 10), 0, 255).astype(np.uint8)
    rows, columns = tenths.any(axis=1), tenths.any(axis=0)
    if rows.any():
        top, bottom = np.flatnonzero(rows)[[0, -1]]
        left, right = np.flatnonzero(columns)[[0, -1]]
        tenths = tenths[top : bottom + 1, left : right + 1]
    return {
        "rows": tenths.shape[0],
        "columns": tenths.shape[1],
        "layers": packed_bytes(tenths),
    }


def changed_points(stream: Stream, other: Stream) -> BoolArray:
    """(k,) needle points whose stitch (from the point before) does not occur in the other."""
    own, theirs = _segments(stream), _segments(other)
    return ~np.isin(own, theirs)


def _segments(stream: Stream) -> NDArray[np.int64]:
    """(k,) key of the stitch to each needle point, the same in both directions."""
    xy = stream.xy[stream.stitch_index].astype(np.int64) + (1 << 15)
    points = (xy[:, 0] << 16) | xy[:, 1]
    before = np.concatenate([points[:1], points[:-1]])
    low, high = np.minimum(points, before), np.maximum(points, before)
    keys: NDArray[np.int64] = (low << 31) ^ high
    return keys

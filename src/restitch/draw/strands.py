"""Thread drawn as thread: each stitch a rounded strand, lit from one side, later ones on top."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from restitch.draw.scene import Page, Rgb
from restitch.model import FloatArray, Stream


@dataclass(frozen=True, slots=True)
class Light:
    """How a strand catches light (our choice, judged by eye on whole designs)."""

    thread_mm: float = 0.4
    """Drawn width: the two-line course, so that sound stitching covers."""
    from_deg: float = 55.0
    """Heading that shines least; threads across it shine most."""
    sheen: tuple[float, float] = (0.80, 0.22)
    """Least brightness, and what the heading adds."""
    dip: tuple[float, float] = (0.72, 0.35)
    """Brightness at the needle points, and the millimetres until it is full again."""
    edge: float = 0.38
    """Brightness at the strand's edge; its ridge has 1."""
    tilt: float = 0.16
    """How much more the side towards the light gets."""
    levels: int = 64
    along_px: float = 0.75
    """Step of the samples along a stitch; longer ones let the ground shine through."""
    across_per_px: float = 1.3


_CHUNK = 1 << 19
"""Samples handled at once."""


def strands(
    stream: Stream, page: Page, cloth: NDArray[np.uint8], light: Light | None = None
) -> NDArray[np.uint8]:
    """Return cloth (rows, columns, 3) with the stream's thread on it, in sewing order.

    ``page`` maps file points to pixels of ``cloth``; each block has its thread's colour.
    """
    light = light or Light()
    index = stream.stitch_index
    where = page.place(stream.xy[index])
    block = stream.block_of_record[index]
    step = np.diff(where, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    keep = np.flatnonzero((np.diff(index) == 1) & (length > 0))
    values = np.zeros(cloth.shape[0] * cloth.shape[1], dtype=np.int32)
    counts = np.maximum(np.ceil(length[keep] / light.along_px), 1).astype(np.intp)
    across = _offsets(light.thread_mm * page.px_per_mm, light.across_per_px)
    share = max(1, _CHUNK // len(across))
    bounds = np.searchsorted(np.cumsum(counts), np.arange(0, counts.sum() + share, share))
    for a, b in zip(bounds[:-1], np.maximum(bounds[1:], bounds[:-1]), strict=True):
        part = keep[a:b] if b < len(keep) else keep[a:]
        if len(part):
            _lay(
                values,
                cloth.shape[1],
                where[part],
                step[part],
                block[part + 1],
                across,
                page,
                light,
            )
    return _coloured(values, stream, cloth, light)


def _offsets(width_px: float, per_px: float) -> FloatArray:
    """Return places across the strand, -1 to 1, and therefore at least two."""
    count = max(2, int(np.ceil(width_px * per_px)))
    offsets: FloatArray = (np.arange(count) + 0.5) / count * 2 - 1
    return offsets


def _lay(
    values: NDArray[np.int32],
    columns: int,
    start: NDArray[Any],
    step: NDArray[Any],
    block: NDArray[np.int32],
    across: FloatArray,
    page: Page,
    light: Light,
) -> None:
    """Write colour and level of every sample; a later sample on a pixel wins (numpy keeps the
    last of equal indices)."""
    start, step = start.astype(np.float32), step.astype(np.float32)
    length = np.hypot(step[:, 0], step[:, 1])
    count = np.maximum(np.ceil(length / np.float32(light.along_px)), 1).astype(np.int32)
    of = np.repeat(np.arange(len(step)), count)
    nth = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    share = (nth.astype(np.float32) + np.float32(0.5)) / count[of]
    unit = step / length[:, None]
    point = start[of] + step[of] * share[:, None]
    towards = np.radians(light.from_deg)
    facing = unit[:, 0] * np.float32(np.sin(towards)) - unit[:, 1] * np.float32(np.cos(towards))
    sheen = light.sheen[0] + light.sheen[1] * np.abs(facing)
    near = np.minimum(share, 1 - share) * length[of] / np.float32(page.px_per_mm)
    dip = np.minimum(light.dip[0] + (1 - light.dip[0]) / light.dip[1] * near, 1)
    # two profiles across the strand: lit from its one side or from the other
    ridge = light.edge + (1 - light.edge) * np.sqrt(1 - across**2)
    lean = light.tilt * across * (1 - np.abs(across))
    sides = np.array([ridge - lean, ridge + lean], np.float32)
    profile = sides[(facing > 0).astype(np.intp)]
    scaled = profile * (sheen * (light.levels - 1))[:, None]
    level = np.minimum(scaled[of] * dip[:, None], light.levels - 1).astype(np.int32)
    side = across.astype(np.float32) * np.float32(light.thread_mm * page.px_per_mm / 2)
    x = (point[:, :1] - unit[of, 1:] * side).astype(np.int32)
    y = (point[:, 1:] + unit[of, :1] * side).astype(np.int32)
    level += (block * light.levels + 1)[of, None]
    values[y * np.int32(columns) + x] = level


def _coloured(
    values: NDArray[np.int32], stream: Stream, cloth: NDArray[np.uint8], light: Light
) -> NDArray[np.uint8]:
    """Return the picture: level tables of every thread, cloth where no thread lies."""
    blocks = max(int(stream.block_of_record.max(initial=0)) + 1, 1)
    ramp = (np.arange(light.levels) / (light.levels - 1))[:, None]
    # four bytes a colour, so that a pixel is one lookup
    table = np.zeros((blocks * light.levels + 1, 4), dtype=np.uint8)
    for block in range(blocks):
        rgb = np.array(thread_rgb(stream, block), dtype=np.float64)
        # pale and dark threads alike keep a darker edge and a lighter ridge
        shade = (12 + rgb * 0.94) * ramp + 26 * np.maximum(ramp - 0.82, 0) / 0.18
        first = 1 + block * light.levels
        table[first : first + light.levels, :3] = np.clip(shade, 0, 255)
    packed = table.view(np.uint32)[:, 0]
    picture = packed[values].view(np.uint8).reshape(*cloth.shape[:2], 4)[..., :3]
    bare = (values == 0).reshape(*cloth.shape[:2], 1)
    return np.where(bare, cloth, picture)


def thread_rgb(stream: Stream, block: int) -> Rgb:
    """Return the colour of a block's thread; blocks past the thread list are grey."""
    rgb = stream.threads[block].rgb if block < len(stream.threads) else 0x808080
    return rgb >> 16 & 255, rgb >> 8 & 255, rgb & 255


def twill(
    rows: int, columns: int, pitch_px: float, tone: Rgb = (238, 234, 225)
) -> NDArray[np.uint8]:
    """Return pale cloth with a faint twill."""
    along = np.arange(rows + columns - 1) * (2 * np.pi / max(pitch_px, 4.0))
    line = (np.array(tone) * (1 - 0.022 * (np.cos(along) + 1))[:, None]).astype(np.uint8)
    # every row is the one before, one pixel on
    diagonal = np.lib.stride_tricks.sliding_window_view(line, columns, axis=0)
    return np.ascontiguousarray(diagonal.transpose(0, 2, 1))

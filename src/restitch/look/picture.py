"""The visible picture of a design: which object and which colour each 0.1 mm of cloth shows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from restitch.look import bits
from restitch.look.bits import Plane
from restitch.look.frame import Frame, Window, frame_around
from restitch.look.laid import Laid, laid
from restitch.model import IntArray, Stream, read_only

BARE = 0
"""Pixel of bare cloth; a slot or class number is stored plus one."""

Slots: TypeAlias = NDArray[np.uint16] | NDArray[np.int32]
Classes: TypeAlias = NDArray[np.uint8] | NDArray[np.int32]

_CHUNK = 1 << 20
REACH = 8
"""Pixels that drawing and closing reach beyond the needle points."""


class RasterSettings(NamedTuple):
    """How thread is drawn."""

    thread: int = 5
    """Line width asked of Pillow, pixels: it comes out as 0.4 mm on average over the headings
    (measured), the two-line course that covers."""
    closing: int = 3
    """Bare pixels inside this closing of a colour take the colour, pixels (0.3 mm, our choice:
    file rounding opens chance gaps that no sewn thread has)."""


class Picture(NamedTuple):
    """What a design shows, last sewn on top."""

    frame: Frame
    thread: Laid
    slots: Slots
    """(rows, columns) slot + 1 of the thread on top, 0 where cloth is bare."""
    classes: Classes
    """(rows, columns) colour class + 1, each colour closed by 0.3 mm, 0 bare."""
    box_of_slot: IntArray
    """(s, 4) box of each slot's needle points, file units: x0, y0, x1, y1."""
    slot_pixels: NDArray[np.int64]
    """(s,) visible pixels of each slot, without closing."""

    def visible_mm2(self) -> dict[int, float]:
        """Return the visible area of each object, without closing; hidden ones have 0."""
        area: dict[int, float] = {}
        for owner, pixels in zip(self.thread.owner_of_slot, self.slot_pixels, strict=True):
            area[int(owner)] = area.get(int(owner), 0.0) + float(pixels) / 100
        return area

    def slots_of(self, name: int) -> list[int]:
        """Return the slots of an object: one for each colour class it is sewn in."""
        return [int(slot) for slot in np.flatnonzero(self.thread.owner_of_slot == name)]

    def window_of(self, slot: int, margin: int = 0) -> Window:
        """Return the window that holds a slot's thread, with ``margin`` pixels more around."""
        return self.frame.box_window(self.box_of_slot[slot : slot + 1], margin + REACH)

    def class_plane(self, number: int, window: Window | None = None) -> Plane:
        """Return where a colour class shows, as a bit plane (of a window)."""
        part = self.classes if window is None else self.classes[window]
        return bits.pack(part == number + 1)


def paint(
    stream: Stream,
    owner: IntArray | None,
    colour_class: Sequence[int] | IntArray | None,
    frame: Frame,
    settings: RasterSettings | None = None,
) -> Picture:
    """Return what a stream shows. See `laid` for ``owner`` and ``colour_class``."""
    settings = settings or RasterSettings()
    thread = laid(stream, owner, colour_class)
    slots = draw_slots(thread, frame, settings.thread)
    pixels = _tally(slots, len(thread.owner_of_slot))
    boxes = thread.boxes()
    classes = _closed_classes(slots, thread, boxes, frame, settings)
    return Picture(
        frame=frame,
        thread=thread,
        slots=read_only(slots),
        classes=read_only(classes),
        box_of_slot=boxes,
        slot_pixels=pixels,
    )


def visible_mm2(stream: Stream, owner: IntArray, frame: Frame | None = None) -> dict[int, float]:
    """Return the visible area of each object of a stream: `paint` without the colours."""
    thread = laid(stream, owner, None)
    slots = draw_slots(thread, frame or frame_around(stream), RasterSettings().thread)
    area: dict[int, float] = {}
    pixels = _tally(slots, len(thread.owner_of_slot))
    for name, seen in zip(thread.owner_of_slot, pixels, strict=True):
        area[int(name)] = area.get(int(name), 0.0) + float(seen) / 100
    return area


def draw_slots(thread: Laid, frame: Frame, width: int) -> Slots:
    """Return slot + 1 of the thread on top of each pixel, 0 where cloth is bare."""
    from PIL import Image, ImageDraw

    mode = "I;16" if len(thread.owner_of_slot) < (1 << 16) - 1 else "I"
    image = Image.new(mode, (frame.width, frame.height), BARE)
    line = ImageDraw.Draw(image).line
    # Pillow reads a C-contiguous float32 buffer directly: one call for each run of stitches
    where = np.ascontiguousarray(frame.place(thread.xy), dtype=np.float32)
    starts = thread.starts()
    lead = starts[:-1] - thread.sewn[starts[:-1]]
    fills = thread.slot[starts[:-1]] + 1
    for a, b, fill in zip(lead.tolist(), starts[1:].tolist(), fills.tolist(), strict=True):
        if b - a > 1:
            line(where[a:b], fill=fill, width=width)  # type: ignore[arg-type]
    return np.asarray(image)


def _tally(slots: Slots, count: int) -> NDArray[np.int64]:
    """Return the pixels of each slot; in chunks, for bincount copies its input to int64."""
    flat = slots.ravel()
    total = np.zeros(count + 1, dtype=np.int64)
    for a in range(0, len(flat), _CHUNK):
        total += np.bincount(flat[a : a + _CHUNK], minlength=count + 1)
    return total[1:]


def _closed_classes(
    slots: Slots, thread: Laid, boxes: IntArray, frame: Frame, settings: RasterSettings
) -> Classes:
    """Return the class picture, with bare pixels inside each colour's closing filled."""
    numbers = np.flatnonzero(np.bincount(thread.class_of_slot))
    small = bool(len(numbers) == 0 or numbers[-1] < 255)
    table: NDArray[Any] = np.zeros(
        len(thread.class_of_slot) + 1, dtype=np.uint8 if small else np.int32
    )
    table[1:] = thread.class_of_slot + 1
    classes: Classes = table[slots]
    for number in numbers:
        window = frame.box_window(boxes[thread.class_of_slot == number], REACH)
        part = classes[window]
        bare = bits.pack(part == BARE)
        filled = bits.closing(bits.pack(part == number + 1), settings.closing) & bare
        rows, columns = np.divmod(bits.where(filled), part.shape[1])
        part[rows, columns] = number + 1
    return classes

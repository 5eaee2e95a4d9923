"""Two designs compared as pictures: look kept, cloth left bare, cover, stack."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from restitch.look import bits
from restitch.look.bits import Plane
from restitch.look.cover import threads_passing
from restitch.look.frame import Window
from restitch.look.laid import NOT_JUDGED
from restitch.look.picture import BARE, REACH, Picture
from restitch.look.stack import StackMap


class CompareSettings(NamedTuple):
    """What counts as the same look."""

    tolerance: int = 2
    """Pixels within which a colour must be found again (0.2 mm, twice the file's step)."""
    cover_thread: int = 3
    """Thread width for cover, pixels: 0.3 mm, between one thread and the two-line course."""
    core_edge: int = 2
    """Pixels at the edge of an object that cover leaves out (rounding, turning points)."""
    core_pixels: int = 100
    """Objects with a smaller core are left out of cover (1 mm2: too few threads to judge)."""
    closing: int = 3
    """Closing of an object's visible area, pixels, as in the picture."""


class Comparison(NamedTuple):
    """How two designs compare over their whole picture."""

    look: float
    """0..1: covered pixels whose colour the other picture shows within 0.2 mm, both ways."""
    bare: float
    """0..1: share of the covered area before that is bare after."""
    cover: float
    """0..1: thread found inside the objects over thread that was there."""
    cover_worst: tuple[float, int | None]
    """Cover of the worst object, and its id."""
    layers_before: tuple[float, float]
    """(mean, peak) layers over the covered area."""
    layers_after: tuple[float, float]


def compare(
    before: Picture,
    after: Picture,
    stack_before: StackMap,
    stack_after: StackMap,
    open_objects: Iterable[int] = (),
    settings: CompareSettings | None = None,
) -> Comparison:
    """Return how two pictures of one frame compare. Open objects are left out of cover."""
    settings = settings or CompareSettings()
    covered, worst = cover(before, after, open_objects, settings)
    return Comparison(
        look=agreement(before, after, settings),
        bare=gap(before, after, settings),
        cover=covered,
        cover_worst=worst,
        layers_before=(stack_before.mean(before), stack_before.peak(before)),
        layers_after=(stack_after.mean(after), stack_after.peak(after)),
    )


def agreement(a: Picture, b: Picture, settings: CompareSettings | None = None) -> float:
    """Return the look kept: the share of covered pixels of both pictures whose colour class
    occurs in the other within 0.2 mm; 1.0 when nothing is covered."""
    settings = settings or CompareSettings()
    found = total = 0
    for number in colour_classes(a, b):
        window = class_window(number, settings.tolerance, a, b)
        plane_a, plane_b = a.class_plane(number, window), b.class_plane(number, window)
        for one, other in ((plane_a, plane_b), (plane_b, plane_a)):
            found += bits.count(one & bits.dilate(other, settings.tolerance))
            total += bits.count(one)
    return found / total if total else 1.0


def gap(before: Picture, after: Picture, settings: CompareSettings | None = None) -> float:
    """Return the share of the covered area before that ``after`` leaves bare (0.2 mm tolerance)."""
    settings = settings or CompareSettings()
    was, now = bits.pack(before.classes != BARE), bits.pack(after.classes != BARE)
    total = bits.count(was)
    return bits.count(was & ~bits.dilate(now, settings.tolerance)) / total if total else 0.0


def cover(
    before: Picture,
    after: Picture,
    open_objects: Iterable[int] = (),
    settings: CompareSettings | None = None,
) -> tuple[float, tuple[float, int | None]]:
    """Return (cover of the design, (cover of the worst object, its id)).

    Inside each closed object of ``before``: thread found after over thread found before; more
    thread in one object does not pay for less in another.
    """
    settings = settings or CompareSettings()
    (was,), (now,) = (threads_passing(p, (settings.cover_thread,)) for p in (before, after))
    leave_out = {NOT_JUDGED, *open_objects}
    needed = lacking = 0.0
    worst: tuple[float, int | None] = (1.0, None)
    for slot, owner in enumerate(before.thread.owner_of_slot.tolist()):
        window, core = core_of(before, slot, settings)
        if owner in leave_out or core is None:
            continue
        # the colour must still be the object's own: elsewhere the thread found is another's
        own = after.class_plane(int(before.thread.class_of_slot[slot]), window)
        had = bits.count(bits.pack(was[window]) & core)
        lack = max(0, had - bits.count(bits.pack(now[window]) & core & own))
        needed, lacking = needed + had, lacking + lack
        if had:
            worst = min(worst, (1 - lack / had, owner), key=lambda pair: pair[0])
    return (1 - lacking / needed if needed else 1.0), worst


def core_of(picture: Picture, slot: int, settings: CompareSettings) -> tuple[Window, Plane | None]:
    """Return the object's window and the inside of its visible area, None where that is small."""
    window, area = visible_area(picture, slot, settings)
    core = bits.erode(area, settings.core_edge)
    return window, core if bits.count(core) >= settings.core_pixels else None


def visible_area(picture: Picture, slot: int, settings: CompareSettings) -> tuple[Window, Plane]:
    """Return a slot's window and where it shows, closed but only where its colour shows."""
    window = picture.window_of(slot)
    own = bits.pack(picture.slots[window] == slot + 1)
    shows = picture.class_plane(int(picture.thread.class_of_slot[slot]), window)
    return window, bits.closing(own, settings.closing) & shows


def colour_classes(*pictures: Picture) -> list[int]:
    """Return the colour classes that occur in any of the pictures, in order."""
    return sorted({int(c) for p in pictures for c in p.thread.class_of_slot})


def class_window(number: int, margin: int, *pictures: Picture) -> Window:
    """Return the window in which a colour class shows in any of the pictures."""
    boxes = [p.box_of_slot[p.thread.class_of_slot == number] for p in pictures]
    return pictures[0].frame.box_window(np.concatenate(boxes), margin + REACH)

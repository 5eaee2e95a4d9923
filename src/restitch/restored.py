"""Two designs side by side: how the second looks against the first, and where it has put right an
order that the first had wrong."""

from __future__ import annotations

import numpy as np

from restitch.look import (
    Picture,
    bits,
    classes_of_blocks,
    frame_around,
    gap,
    paint,
    stack_height,
)
from restitch.look.bits import Plane
from restitch.look.difference import kept_share
from restitch.look.evidence import EDGE
from restitch.model import LookKept, SewnObject, Stream
from restitch.plan import plan_of
from restitch.rounds import owner_of


def look_of_pair(first: Stream, second: Stream, objects: tuple[SewnObject, ...] = ()) -> LookKept:
    """Return how the second of two designs compares with the first as a picture.

    ``objects`` of the first tell where one shows over the border that should cover it; where the
    second shows the border instead, the difference is left out of the share kept.
    """
    if first.colours_known and second.colours_known:
        classes = classes_of_blocks(first, second)
    else:
        classes = (tuple(range(len(first.threads))), tuple(range(len(second.threads))))
    frame = frame_around(first, second)
    before = paint(first, owner_of(first, objects) if objects else None, classes[0], frame)
    after = paint(second, None, classes[1], frame)
    excepted = _restored(first, objects, classes[0], before, after) if objects else None
    return LookKept(
        kept=kept_share(before, after, excepted),
        bare=gap(before, after),
        peak_before=stack_height(first, frame).peak(before),
        peak_after=stack_height(second, frame).peak(after),
        layering_excepted=excepted is not None,
    )


def _restored(
    first: Stream,
    objects: tuple[SewnObject, ...],
    classes: tuple[int, ...],
    before: Picture,
    after: Picture,
) -> Plane | None:
    """Where the first shows an object over its border and the second the border's colour."""
    from restitch.check.judge_layering import buried_pairs
    from restitch.geometry import outline

    plan = plan_of(first, objects)
    rank = {o.id: at for at, o in enumerate(plan)}
    pairs = buried_pairs(plan, {o.id: outline(o) for o in plan})
    found: Plane | None = None
    for pair in pairs:
        if rank[pair.before] < rank[pair.after]:
            continue
        border = classes[plan[rank[pair.after]].block]
        for slot in before.slots_of(pair.before):
            window = before.window_of(slot, EDGE)
            shows = (before.slots[window] == slot + 1) & (after.classes[window] == border + 1)
            if not shows.any():
                continue
            if found is None:
                found = bits.pack(np.zeros(before.frame.shape, dtype=np.bool_))
            bits.crop(found, window)[:] |= bits.dilate(bits.pack(shows), EDGE)
    return found

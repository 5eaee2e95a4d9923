"""The guard: does each object still look as it did?

The rule was set on designs whose every object was edited in harmless and in harmful ways. How often
it is wrong, by kind of edit and by limits in use, is measured in docs/guard.md.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import NamedTuple

import numpy as np

from restitch.look import bits
from restitch.look.bits import Indices, Plane
from restitch.look.compare import visible_area
from restitch.look.difference import fullest_square, lost_and_won, won_square
from restitch.look.evidence import closed_spots, moved_mm, peak_layers, thinner
from restitch.look.laid import NOT_JUDGED
from restitch.look.limits import GuardLimits
from restitch.look.picture import Picture
from restitch.look.stack import StackMap


class Verdict(NamedTuple):
    """What the guard found out about one object."""

    object: int
    reasons: tuple[str, ...]
    """What the change costs, in the bench's words; empty when the look is kept."""
    blamed: tuple[int, ...]
    """Other objects that show where this one did, most area first."""
    lost_share: float = 0.0
    lost_square_mm2: float = 0.0
    won_square_mm2: float = 0.0
    moved_mm: float = 0.0
    thinner: float = 0.0
    """How far cover fell below what it was or a sound object has (at the worse of two widths)."""
    spots_closed: int = 0
    layers: tuple[float, float] | None = None
    """Peak layers before and after, where measured."""

    @property
    def kept(self) -> bool:
        """True when the object's look is kept."""
        return not self.reasons


def judge(
    before: Picture,
    after: Picture,
    *,
    changed: Collection[int] | None = None,
    pull_mm: Mapping[int, float] | None = None,
    excepted: Plane | None = None,
    open_objects: Collection[int] = (),
    stacks: tuple[StackMap, StackMap] | None = None,
    limits: GuardLimits | None = None,
) -> tuple[Verdict, ...]:
    """Return a verdict for each object that changed or lost something, by id.

    Both pictures have one frame, equal object ids and equal colour classes. ``changed``: ids the
    fix touched (None: all); only they are tested for movement, thin cover and stack. ``pull_mm``:
    how far on each side the fix says it widened an object. ``excepted``: where objects whose order
    a layering fix turned show instead of each other (`exchanged`). ``open_objects`` skip the test
    for thin cover. ``stacks``: before and after, to see what a fix piled up.
    """
    limits = limits or GuardLimits()
    touched = _owners(before, after) if changed is None else set(changed) - {NOT_JUDGED}
    lost, won = lost_and_won(before, after, excepted, limits.compare.tolerance)
    lost_of = lost.by_owner()
    won_of = won.by_owner()
    closed = closed_spots(before, after, excepted, limits)
    close = touched - set(open_objects)
    thin = thinner(before, after, close, excepted, limits)
    moves = moved_mm(before, after, touched, limits)
    layers = peak_layers(before, after, stacks, touched)
    concerned = sorted(touched | set(lost_of) | set(won_of) | set(closed))
    pull = pull_mm or {}
    return tuple(
        _verdict(
            Verdict(
                object=name,
                reasons=(),
                blamed=_blamed(after, lost_of.get(name), name),
                lost_share=_share(before, name, lost_of.get(name), limits),
                lost_square_mm2=fullest_square(lost_of.get(name), before.frame, limits),
                won_square_mm2=won_square(
                    before, after, name, won_of.get(name), pull.get(name, 0.0), limits
                ),
                moved_mm=moves.get(name, 0.0),
                thinner=thin.get(name, 0.0),
                spots_closed=closed.get(name, 0),
                layers=layers.get(name),
            ),
            limits,
        )
        for name in concerned
        if name != NOT_JUDGED
    )


def _verdict(found: Verdict, limits: GuardLimits) -> Verdict:
    """Return the verdict with its reasons."""
    reasons = []
    if found.lost_share > limits.lost_share:
        reasons.append(f"loses {found.lost_share:.1%} of what shows")
    if found.lost_square_mm2 >= limits.square_mm2:
        reasons.append(f"{found.lost_square_mm2:.2f} mm2 goes missing in one spot")
    if found.won_square_mm2 >= limits.square_mm2:
        reasons.append(f"{found.won_square_mm2:.2f} mm2 shows where it did not")
    if found.spots_closed:
        reasons.append(f"closes {found.spots_closed} opening(s) in the stitching")
    if found.moved_mm > limits.moved_mm:
        reasons.append(f"moves by {found.moved_mm:.2f} mm")
    if found.thinner > limits.thin:
        reasons.append(f"covers {found.thinner:.0%} less of its area")
    if found.layers is not None:
        was, now = found.layers
        if now > max(was, limits.layers) + limits.layers_slack:
            reasons.append(f"stacks {now:.1f} layers where it had {was:.1f}")
    return found._replace(reasons=tuple(reasons))


def _owners(*pictures: Picture) -> set[int]:
    return {int(o) for p in pictures for o in p.thread.owner_of_slot} - {NOT_JUDGED}


def _share(before: Picture, name: int, lost: Indices | None, limits: GuardLimits) -> float:
    if lost is None:
        return 0.0
    area = sum(
        bits.count(visible_area(before, slot, limits.compare)[1]) for slot in before.slots_of(name)
    )
    return len(lost) / max(area, len(lost))


def _blamed(after: Picture, lost: Indices | None, name: int) -> tuple[int, ...]:
    """Return the other objects that show on an object's lost pixels."""
    if lost is None:
        return ()
    owner_of = np.append(NOT_JUDGED, after.thread.owner_of_slot)
    names, pixels = np.unique(owner_of[after.slots.reshape(-1)[lost]], return_counts=True)
    order = np.argsort(-pixels, kind="stable")
    return tuple(int(n) for n in names[order] if n not in (NOT_JUDGED, name))

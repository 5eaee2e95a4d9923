"""One round of a rescue: fix, order, sew, read back, and look whether every object kept its look.

The guard first holds objects that traded places unasked, then takes back the changes of single
objects that would suffer; the round is sewn again without them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, NamedTuple

import numpy as np

from restitch.aside import Aside, in_turn
from restitch.fabrics.model import Profile
from restitch.files import round_trip
from restitch.fix.context import Context, Plan
from restitch.fix.passes import ORDER_FIXES, run_local
from restitch.fix.seams import seams
from restitch.infer import infer
from restitch.look import (
    Frame,
    GuardLimits,
    Picture,
    Verdict,
    colour_classes_of,
    frame_around,
    judge,
    paint,
    stack_height,
)
from restitch.look.bits import Plane, Squeezed
from restitch.look.evidence import exchanged
from restitch.look.trades import Trade, trades
from restitch.model import Change, IntArray, OrderFacts, SewnObject, State, Stream
from restitch.plan import NO_OBJECT, Emission, emit, plan_of

MOST_RETRIES = 4
"""Times a round is sewn again without what the guard took back."""

FRAME_MARGIN = 40
"""Pixels around the source in all pictures of a rescue: 4 mm, more than any fix reaches out."""

WIDEST_SPACING = 1.1
"""A fix opens stitching to the file's own spacing, at most this much over the fabric's."""

TRADE_LIMITS = GuardLimits()
"""A trade of places costs nothing to undo, so it is held at the strict limits."""

ROUND_LIMITS = GuardLimits(lost_share=0.04, square_mm2=0.50, moved_mm=math.inf, thin=0.12)
"""Limits for an object whose own stitching a fix changed. The strict limits are for one edit to
one object; a whole rescue moves ends, ties and neighbours of small letters at once, and the strict
limits then refuse one sound change in four (measured on generated designs). Movement is left to
the squares: where a neighbour goes over one end of a long column its centroid moves as well."""


@dataclass(frozen=True, slots=True, eq=False)
class Round:
    """One pass through fix, order and guard."""

    source: Stream
    objects: tuple[SewnObject, ...]
    emission: Emission
    changes: tuple[Change, ...]
    order: OrderFacts
    before: AsFound | None = None
    """How the source looks, where the round changed anything."""
    excepted: Plane | None = None
    """Where objects whose order the round put right show instead of each other."""
    after: Picture | None = None
    """How the emission looks, where the guard looked at it."""
    result: Stream | None = None
    """What reading the file will give, where the round changed anything ..."""
    result_objects: tuple[SewnObject, ...] = ()
    """... and its objects."""

    @property
    def applied(self) -> tuple[Change, ...]:
        """The changes that are in the emission."""
        return tuple(c for c in self.changes if c.state is State.APPLIED)


def owner_of(stream: Stream, objects: Iterable[SewnObject]) -> IntArray:
    """(n,) object id of each record, `NO_OBJECT` where none owns it."""
    owner = np.full(len(stream), NO_OBJECT, np.int32)
    for obj in objects:
        for part in obj.parts:
            owner[part.start : part.stop] = obj.id
    return owner


class Held(NamedTuple):
    """What the guard takes back or holds when a round is sewn again."""

    withdrawn: Mapping[str, str]
    """Change id to the guard's reason."""
    pairs: frozenset[tuple[int, int]] = frozenset()
    """(lower, upper) ids whose order stays."""
    ends: frozenset[int] = frozenset()
    """Ids of objects whose ends stay."""

    def and_more(self, other: Held) -> Held:
        """Both together."""
        return Held(
            {**self.withdrawn, **other.withdrawn}, self.pairs | other.pairs, self.ends | other.ends
        )


class Guarded(NamedTuple):
    """What the guard saw."""

    excepted: Squeezed | None
    """Where objects whose order the round put right show instead of each other."""
    more: Held
    """What must be taken back for the look's sake."""


NOTHING_HELD = Held({})


class Sewing(NamedTuple):
    """A round sewn once, and how to sew it again."""

    first: Round
    again: Callable[[Held], Round]


def begin(
    source: Stream, objects: tuple[SewnObject, ...], profile: Profile, vetoed: frozenset[str]
) -> Sewing:
    """Fix, order and sew once."""
    sew = partial(_sew, source, objects, plan_of(source, objects), profile, vetoed)
    return Sewing(sew(NOTHING_HELD), sew)


class Ran(NamedTuple):
    """A round that was run."""

    step: Round
    answers: Iterator[Any]
    """Those of what follows from it (none where nothing changed) ..."""
    onward: Sewing
    """... and the next round, begun; the same one where nothing changed."""


def run_round(
    sewing: Sewing,
    profile: Profile,
    target: str,
    found: Callable[[], AsFound],
    then: Callable[[Round], Iterator[Any]],
    onward: Callable[[Round], Sewing],
    begun: ExitStack,
    aside: Aside = in_turn,
) -> Ran:
    """Look at a round begun, and sew it again without what the guard takes back.

    ``target``: format of the file to be written. ``found``: how the source looks `as_found`.
    ``then``: what follows from the round, kept going by ``begun``. ``onward`` begins the next
    round. ``aside``: how the look is guarded and what follows done meanwhile.
    """
    step, following = sewing.first, sewing
    before: AsFound | None = None
    held = NOTHING_HELD
    answers: Iterator[Any] = iter(())
    for retry in range(MOST_RETRIES + 1):
        if not step.applied:
            break
        before = found() if before is None else before
        with ExitStack() as here:
            work = partial(_guarded_and_onward, step, before, profile, then)
            answers = here.enter_context(aside(work))
            # the guard seldom takes anything back: the next round is begun without it
            result = round_trip(step.emission.stream, target)
            step = replace(step, before=before, result=result, result_objects=infer(result))
            following = onward(step)
            excepted, more = next(answers)
            if retry == MOST_RETRIES or held.and_more(more) == held:
                step = replace(step, excepted=None if excepted is None else excepted.plane())
                begun.push(here.pop_all())
                break
            held = held.and_more(more)
        step = sewing.again(held)
    return Ran(step, answers, following)


def _guarded_and_onward(
    step: Round, before: AsFound, profile: Profile, then: Callable[[Round], Iterator[Any]]
) -> Iterator[Any]:
    """What the guard saw, and what follows where it takes nothing back."""
    more, excepted, after = _guarded(step, before.picture, profile)
    # what is larger than a pipe would hold this copy up until it is heard
    yield Guarded(None if excepted is None else Squeezed.of(excepted), more)
    yield from then(replace(step, before=before, excepted=excepted, after=after))


def _sew(
    source: Stream,
    objects: tuple[SewnObject, ...],
    plan: Plan,
    profile: Profile,
    vetoed: frozenset[str],
    held: Held = NOTHING_HELD,
) -> Round:
    from restitch.sequence import order

    context = Context(
        profile,
        source,
        {o.id: o for o in objects},
        vetoed | frozenset(held.withdrawn),
        held.pairs,
        held.ends,
    )
    fixed, changes = run_local(plan, context)
    ordered = order(fixed, context, changes)
    emission = emit(ordered.plan, source)
    sound = seams(emission, profile.limits, source)
    merged = len(emission.owner) - len(sound.owner)
    told = _with_merged((*changes, *ordered.changes), merged)
    return Round(
        source=source,
        objects=objects,
        emission=sound,
        changes=tuple(_withdrawn(c, held.withdrawn) for c in told),
        order=ordered.facts,
    )


def _with_merged(changes: tuple[Change, ...], merged: int) -> tuple[Change, ...]:
    """The changes with the stitches merged where pieces meet anew: the last one tells them whose
    stitches are counted, which is the new order where there is one."""
    counted = (c for c in changes if c.state is State.APPLIED and "stitches" in c.after)
    *_, told = (None, *counted)
    if not merged or told is None:
        return changes
    after = {**told.after, "stitches": told.after["stitches"] - merged}
    return tuple(replace(c, after=after) if c is told else c for c in changes)


def picture(
    stream: Stream, owner: IntArray, threads: Sequence[int], source: Stream, frame: Frame
) -> Picture:
    """The picture of a stream; ``threads`` are thread classes of its blocks in the source."""
    near = colour_classes_of(source.threads) if source.colours_known else range(len(source.threads))
    return paint(stream, owner, [near[t] for t in threads], frame)


class AsFound(NamedTuple):
    """How a source looks before anything is done to it."""

    picture: Picture
    peak: float
    """Peak of its layers of thread."""


def as_found(source: Stream, objects: Sequence[SewnObject], frame: Frame | None = None) -> AsFound:
    """How a source looks, from its plan: a long stitch that the format had to write as jumps lays
    thread like any other. ``frame``: by default the source's own, with room around it."""
    sewn = emit(plan_of(source, objects), source)
    frame = frame or frame_around(source, margin=FRAME_MARGIN)
    found = picture(sewn.stream, sewn.owner, sewn.thread_of_block, source, frame)
    return AsFound(found, stack_height(source, frame).peak(found))


def _guarded(step: Round, before: Picture, profile: Profile) -> tuple[Held, Plane | None, Picture]:
    """What must be taken back for the look's sake, where objects whose order was put right show
    instead of each other, and how the round looks. Trades of place are put right first, then
    single objects."""
    sewn = step.emission
    after = picture(sewn.stream, sewn.owner, sewn.thread_of_block, step.source, before.frame)
    swapped = _swapped_pairs(step)
    excepted = exchanged(before, after, swapped)
    more = _traded(step, trades(before, after, excepted, TRADE_LIMITS), swapped)
    if more == NOTHING_HELD:
        more = Held(_suffering(step, before, after, excepted, profile))
    return more, excepted, after


def _suffering(
    step: Round, before: Picture, after: Picture, excepted: Plane | None, profile: Profile
) -> dict[str, str]:
    """Ids of the changes that objects suffer from, each with the guard's reason."""
    fabric = profile.fabric
    widest = WIDEST_SPACING * max(fabric.fill_spacing_mm, fabric.satin_spacing_mm)
    verdicts = judge(
        before,
        after,
        changed={o for c in step.applied if c.fix not in ORDER_FIXES for o in c.objects},
        pull_mm=_declared_pull(step.applied),
        excepted=excepted,
        open_objects={o.id for o in step.objects if o.open},
        limits=ROUND_LIMITS.for_spacing(widest),
    )
    inside = {o for c in step.applied if c.fix == "layering" for o in c.objects}
    return _blamed(step, [v for v in verdicts if not v.kept and v.object not in inside])


def _traded(step: Round, found: Iterable[Trade], swapped: IntArray) -> Held:
    """Hold the order of objects that traded places unasked, and ends that show on bare cloth."""
    own = {o for c in step.applied if c.fix not in ORDER_FIXES for o in c.objects}
    was, now = _ranks(o.id for o in step.objects), _ranks(_order_of(step.emission))
    pairs, ends = set(), set()
    for trade in found:
        a, b = trade.loser, trade.winner
        wanted = (swapped == (a, b)) | (swapped == (b, a))
        if wanted.all(axis=1).any() or b not in now:
            continue
        if a in now and was[b] < was[a] and now[b] > now[a]:
            pairs.add((b, a))
        elif b not in own:
            ends.add(b)
    return Held({}, frozenset(pairs), frozenset(ends))


def _ranks(ids: Iterable[int]) -> dict[int, int]:
    return {name: at for at, name in enumerate(ids)}


def _order_of(emission: Emission) -> list[int]:
    """Object ids in the order in which they are first sewn."""
    owner = emission.owner[emission.owner != NO_OBJECT]
    names, first = np.unique(owner, return_index=True)
    return [int(n) for n in names[np.argsort(first)]]


def _declared_pull(changes: Iterable[Change]) -> Mapping[int, float]:
    """How far on each side the pull fix says it widened each object, mm."""
    return {
        o: c.after.get("widened_mm", 0.0) / 2 for c in changes if c.fix == "pull" for o in c.objects
    }


def _blamed(step: Round, verdicts: Iterable[Verdict]) -> dict[str, str]:
    """Ids of the changes to take back, each with the guard's reason.

    First the object's own changes; else those of the objects that show in its place.
    """
    back: dict[str, str] = {}
    for verdict in verdicts:
        for suspects in ((verdict.object,), verdict.blamed):
            own = [
                c.id
                for c in step.applied
                if c.fix not in ORDER_FIXES and any(o in suspects for o in c.objects)
            ]
            if own:
                break
        back |= dict.fromkeys(own, "; ".join(verdict.reasons))
    return back


def _withdrawn(change: Change, withdrawn: Mapping[str, str]) -> Change:
    if change.id not in withdrawn:
        return change
    reason = f"{change.reason}; taken back: the object {withdrawn[change.id]}"
    return replace(change, state=State.WITHDRAWN, reason=reason)


def _swapped_pairs(step: Round) -> IntArray:
    """(k, 2) ids (lower, upper) of pairs that the layering changes turned round, and what follows:
    whatever was sewn after a restored upper object and now comes before it. Some come twice."""
    swaps = [c.objects[:2] for c in step.applied if c.fix == "layering"]
    if not swaps:
        return np.zeros((0, 2), np.int32)
    was, order = _ranks(o.id for o in step.objects), _order_of(step.emission)
    now, rank = _ranks(order), np.array([was[name] for name in order])
    names = np.array(order)
    found = [np.array(swaps, np.int32)]
    for upper in {upper for _, upper in swaps}:
        earlier = slice(0, now.get(upper, 0))
        late = names[earlier][rank[earlier] > was[upper]]
        found.append(np.column_stack([late, np.full_like(late, upper)]))
    return np.concatenate(found)

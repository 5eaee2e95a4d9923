"""One design from source to rescued stream: read objects, fix, order, sew, look, settle.

A rescue runs in rounds. Each round reads its own result back as the target file will give it and
fixes again until nothing is left to fix, so that a second run of the command changes nothing.
Within a round the guard compares every object's look with the round's input and takes back the
changes of objects that would suffer.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from restitch.fabrics.model import Profile
from restitch.fix.context import Context, Plan
from restitch.fix.passes import LOCAL_PASSES, run_local
from restitch.fix.seams import seams
from restitch.look import (
    CompareSettings,
    Frame,
    GuardLimits,
    Picture,
    Verdict,
    agreement,
    classes_of_blocks,
    colour_classes_of,
    frame_around,
    gap,
    judge,
    paint,
    stack_height,
)
from restitch.look.bits import Plane
from restitch.look.difference import lost_and_won
from restitch.look.evidence import exchanged
from restitch.look.trades import Trade, trades
from restitch.model import Change, IntArray, SewnObject, State, Stream
from restitch.plan import NO_OBJECT, Emission, emit, plan_of, threads_of
from restitch.report.model import LookKept, OrderFacts

if TYPE_CHECKING:
    from restitch.files import Encoded

MOST_ROUNDS = 4
"""Rounds of one rescue: most designs settle in the second, which finds nothing (measured)."""

FRAME_MARGIN = 40
"""Pixels around the source in all pictures of a rescue: 4 mm, more than any fix reaches out."""

MOST_RETRIES = 4
"""Times a round is sewn again without what the guard took back."""

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
    pictures: tuple[Picture, Picture] | None = None
    """Before and after, where the round changed anything."""

    @property
    def applied(self) -> tuple[Change, ...]:
        """The changes that are in the emission."""
        return tuple(c for c in self.changes if c.state is State.APPLIED)


@dataclass(frozen=True, slots=True, eq=False)
class Rescue:
    """A rescued design."""

    source: Stream
    objects: tuple[SewnObject, ...]
    """Objects of the source."""
    result: Stream
    """The source itself where nothing had to change."""
    result_objects: tuple[SewnObject, ...]
    """Objects of the result, as it reads back."""
    changes: tuple[Change, ...]
    look: LookKept
    order: OrderFacts
    encoded: Encoded | None = None
    """The result as a file, None where nothing had to change."""

    @property
    def sound(self) -> bool:
        """True where nothing had to change."""
        return self.result is self.source


def owner_of(stream: Stream, objects: Iterable[SewnObject]) -> IntArray:
    """(n,) object id of each record, `NO_OBJECT` where none owns it."""
    owner = np.full(len(stream), NO_OBJECT, np.int32)
    for obj in objects:
        for part in obj.parts:
            owner[part.start : part.stop] = obj.id
    return owner


def rescue(
    source: Stream, profile: Profile, vetoed: frozenset[str] = frozenset(), target: str = ""
) -> Rescue:
    """Return the rescued design of a stream.

    ``vetoed``: ids of changes the user does not want. ``target``: format of the file to be
    written (default: the source's), which decides how the result reads back between rounds.
    Deterministic: the same arguments give the same result.
    """
    from restitch.files import encode
    from restitch.infer import infer

    current, changes, first = source, list[Change](), None
    objects: tuple[SewnObject, ...] = ()
    rounds: list[Round] = []
    order, encoded = OrderFacts(), None
    frame = frame_around(source, margin=FRAME_MARGIN)
    held = frozenset[tuple[int, int]]()
    for number in range(MOST_ROUNDS):
        objects = infer(current)
        first = first or objects
        here = vetoed if number == 0 else _vetoes_again(current, objects, held, profile, vetoed)
        asked = profile if number == 0 else _settling(profile)
        step = run_round(current, objects, asked, here, frame)
        changes += step.changes if number == 0 else _later(step.applied, number)
        order = step.order if number == 0 else order
        if not step.applied:
            break
        rounds.append(step)
        held |= _held_points(step)
        encoded = encode(step.emission.stream, target or source.format)
        current = encoded.stream
        objects = ()
    assert first is not None
    look = _look(source, first, rounds, current, frame)
    return Rescue(
        source, first, current, objects or infer(current), tuple(changes), look, order, encoded
    )


def _settling(profile: Profile) -> Profile:
    """The profile of later rounds: widths must not grow for the pull a second time."""
    return replace(profile, fixes=profile.fixes - {"pull"})


@dataclass(frozen=True, slots=True)
class Held:
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


NOTHING_HELD = Held({})


def run_round(
    source: Stream,
    objects: tuple[SewnObject, ...],
    profile: Profile,
    vetoed: frozenset[str],
    frame: Frame,
) -> Round:
    """Fix, order and sew once; sew again without what the guard takes back."""
    plan = plan_of(source, objects)
    before: Picture | None = None
    held = NOTHING_HELD
    for _ in range(MOST_RETRIES):
        step = _sew(source, objects, plan, profile, vetoed, held)
        if not step.applied:
            break
        before = before or _before(step, frame)
        after = _after(step, frame)
        step = replace(step, pictures=(before, after))
        more = _guarded(step, before, after, profile)
        if more == NOTHING_HELD or held.and_more(more) == held:
            break
        held = held.and_more(more)
    else:
        step = _sew(source, objects, plan, profile, vetoed, held)
    return replace(step, changes=tuple(_withdrawn(c, held.withdrawn) for c in step.changes))


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
    return Round(
        source=source,
        objects=objects,
        emission=seams(emit(ordered.plan, source), profile.limits, source),
        changes=(*changes, *ordered.changes),
        order=ordered.facts,
    )


def _picture(
    stream: Stream, owner: IntArray, threads: Sequence[int], source: Stream, frame: Frame
) -> Picture:
    """The picture of a stream; ``threads`` are thread classes of its blocks in the source."""
    near = colour_classes_of(source.threads) if source.colours_known else range(len(source.threads))
    return paint(stream, owner, [near[t] for t in threads], frame)


def _before(step: Round, frame: Frame) -> Picture:
    return _as_found(step.source, step.objects, frame)


def _as_found(source: Stream, objects: Sequence[SewnObject], frame: Frame) -> Picture:
    """The picture of a source, from its plan: a long stitch that the format had to write as jumps
    lays thread like any other."""
    sewn = emit(plan_of(source, objects), source)
    return _picture(sewn.stream, sewn.owner, sewn.thread_of_block, source, frame)


def _after(step: Round, frame: Frame) -> Picture:
    sewn = step.emission
    return _picture(sewn.stream, sewn.owner, sewn.thread_of_block, step.source, frame)


def _guarded(step: Round, before: Picture, after: Picture, profile: Profile) -> Held:
    """What must be taken back for the look's sake: trades of place first, then single objects."""
    swapped = _swapped(step)
    excepted = exchanged(before, after, swapped) if swapped else None
    more = _traded(step, trades(before, after, excepted, TRADE_LIMITS), swapped)
    if more != NOTHING_HELD:
        return more
    fabric = profile.fabric
    widest = WIDEST_SPACING * max(fabric.fill_spacing_mm, fabric.satin_spacing_mm)
    verdicts = judge(
        before,
        after,
        changed={o for c in step.applied if c.fix in LOCAL_PASSES for o in c.objects},
        pull_mm=_declared_pull(step.applied),
        swapped=swapped,
        open_objects={o.id for o in step.objects if o.open},
        limits=ROUND_LIMITS.for_spacing(widest),
    )
    inside = {o for c in step.applied if c.fix == "layering" for o in c.objects}
    return Held(_blamed(step, [v for v in verdicts if not v.kept and v.object not in inside]))


def _traded(step: Round, found: Iterable[Trade], swapped: Iterable[tuple[int, int]]) -> Held:
    """Hold the order of objects that traded places unasked, and ends that show on bare cloth."""
    own = {o for c in step.applied if c.fix in LOCAL_PASSES for o in c.objects}
    was, now = _ranks(o.id for o in step.objects), _ranks(_order_of(step.emission))
    wanted = set(swapped) | {(b, a) for a, b in swapped}
    pairs, ends = set(), set()
    for trade in found:
        a, b = trade.loser, trade.winner
        if (a, b) in wanted or b not in now:
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
                if c.fix in LOCAL_PASSES and any(o in suspects for o in c.objects)
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


def _later(changes: Iterable[Change], number: int) -> list[Change]:
    """Changes of a later round, told apart from the first round's by their ids."""
    return [replace(c, id=f"{c.id}~{number + 1}") for c in changes]


def _held_points(step: Round) -> frozenset[tuple[int, int]]:
    """Needle points of objects that a veto or the guard holds as they are."""
    held = {o for c in step.changes if c.state is not State.APPLIED for o in c.objects}
    owner, stream = step.emission.owner, step.emission.stream
    return frozenset(map(tuple, stream.xy[np.isin(owner, list(held))].tolist()))


def _vetoes_again(
    stream: Stream,
    objects: Iterable[SewnObject],
    held: frozenset[tuple[int, int]],
    profile: Profile,
    vetoed: frozenset[str],
) -> frozenset[str]:
    """Vetoes for a later round: objects that lie on held points stay as they are, and fixes
    vetoed as a whole stay vetoed."""
    again = {v for v in vetoed if not v.rpartition("-")[2].isdigit()}
    for obj in objects if held else ():
        points = stream.xy[obj.start : obj.stop].tolist()
        if 2 * sum(tuple(p) in held for p in points) > len(points):
            again |= {f"{fix}-{obj.start}" for fix in profile.fixes}
    return frozenset(again)


def _look(
    source: Stream,
    objects: Sequence[SewnObject],
    rounds: Sequence[Round],
    result: Stream,
    frame: Frame,
) -> LookKept:
    """How the whole result compares with the source; restored overlaps are left out."""
    threads = threads_of(source)
    first = rounds[0].pictures if rounds else None
    before = first[0] if first else _as_found(source, objects, frame)
    stack = stack_height(source, before.frame)
    peak = stack.peak(before)
    if not rounds:
        return LookKept(1.0, 0.0, peak, peak)
    excepted = _excepted(rounds, frame)
    classes = list(threads)
    for step in rounds:
        classes = [classes[t] for t in step.emission.thread_of_block]
    nobody = np.full(len(result), NO_OBJECT, np.int32)
    after = _picture(result, nobody, classes, source, frame)
    lost, won = lost_and_won(before, after, excepted, CompareSettings().tolerance)
    covered = int(np.count_nonzero(before.classes)) + int(np.count_nonzero(after.classes))
    return LookKept(
        kept=1.0 - (len(lost.flat) + len(won.flat)) / max(covered, 1),
        bare=gap(before, after),
        peak_before=peak,
        peak_after=stack_height(result, before.frame).peak(after),
        layering_excepted=excepted is not None,
    )


def _excepted(rounds: Iterable[Round], frame: Frame) -> Plane | None:
    """Where layering changes of any round show one object instead of another."""
    found: Plane | None = None
    for step in rounds:
        swapped = _swapped(step)
        if swapped:
            pictures = step.pictures or (_before(step, frame), _after(step, frame))
            here = exchanged(*pictures, swapped)
            found = here if found is None else found if here is None else found | here
    return found


def _swapped(step: Round) -> list[tuple[int, int]]:
    """Pairs (lower, upper) that the layering changes turned round, and what follows from them:
    whatever was sewn after a restored upper object and now comes before it."""
    swaps = [(c.objects[0], c.objects[1]) for c in step.applied if c.fix == "layering"]
    if not swaps:
        return []
    was, now = _ranks(o.id for o in step.objects), _ranks(_order_of(step.emission))
    uppers = sorted({upper for _, upper in swaps})
    follow = [
        (name, upper)
        for upper in uppers
        for name in now
        if was[name] > was[upper] and now[name] < now.get(upper, -1)
    ]
    return sorted({*swaps, *follow})


def look_of_pair(first: Stream, second: Stream) -> LookKept:
    """How the second of two designs compares with the first as a picture; one frame for both."""
    if first.colours_known and second.colours_known:
        classes = classes_of_blocks(first, second)
    else:
        classes = (tuple(range(len(first.threads))), tuple(range(len(second.threads))))
    frame = frame_around(first, second)
    before, after = (
        paint(s, None, c, frame) for s, c in zip((first, second), classes, strict=True)
    )
    return LookKept(
        kept=agreement(before, after),
        bare=gap(before, after),
        peak_before=stack_height(first, frame).peak(before),
        peak_after=stack_height(second, frame).peak(after),
    )

"""One design from source to rescued stream: read objects, fix, order, sew, look, settle.

A rescue runs in rounds. Each round reads its own result back as the target file will give it and
fixes again until nothing is left to fix, so that a second run of the command changes nothing.
Within a round the guard compares every object's look with the round's input and takes back the
changes of objects that would suffer.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from restitch.fabrics.model import Profile
from restitch.fix.context import Context, Plan
from restitch.fix.passes import LOCAL_PASSES, run_local
from restitch.look import (
    CompareSettings,
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
from restitch.model import Change, IntArray, SewnObject, State, Stream
from restitch.plan import NO_OBJECT, Emission, emit, plan_of, threads_of
from restitch.report.model import LookKept, OrderFacts

MOST_ROUNDS = 4
"""Rounds of one rescue: most designs settle in the second, which finds nothing (measured)."""

MOST_RETRIES = 4
"""Times a round is sewn again without what the guard took back."""


@dataclass(frozen=True, slots=True, eq=False)
class Round:
    """One pass through fix, order and guard."""

    source: Stream
    objects: tuple[SewnObject, ...]
    emission: Emission
    changes: tuple[Change, ...]
    order: OrderFacts

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
    from restitch.files import round_trip
    from restitch.infer import infer

    current, changes, first = source, list[Change](), None
    objects: tuple[SewnObject, ...] = ()
    rounds: list[Round] = []
    order = OrderFacts()
    held = frozenset[tuple[int, int]]()
    for number in range(MOST_ROUNDS):
        objects = infer(current)
        first = first or objects
        here = vetoed if number == 0 else _vetoes_again(current, objects, held, profile, vetoed)
        step = run_round(current, objects, profile, here)
        changes += step.changes if number == 0 else _later(step.applied, number)
        order = step.order if number == 0 else order
        if not step.applied:
            break
        rounds.append(step)
        held |= _held_points(step)
        current = round_trip(step.emission.stream, target or source.format)
        objects = ()
    assert first is not None
    look = _look(source, first, rounds, current)
    return Rescue(source, first, current, objects or infer(current), tuple(changes), look, order)


def run_round(
    source: Stream, objects: tuple[SewnObject, ...], profile: Profile, vetoed: frozenset[str]
) -> Round:
    """Fix, order and sew once; sew again without the changes that the guard takes back."""
    plan = plan_of(source, objects)
    before: Picture | None = None
    withdrawn: dict[str, str] = {}
    for _ in range(MOST_RETRIES):
        step = _sew(source, objects, plan, profile, vetoed | frozenset(withdrawn))
        if not step.applied:
            break
        before = before or _picture(source, owner_of(source, objects), threads_of(source), source)
        found = _blamed(step, _verdicts(step, before))
        if not found:
            break
        withdrawn |= found
    return replace(step, changes=tuple(_withdrawn(c, withdrawn) for c in step.changes))


def _sew(
    source: Stream,
    objects: tuple[SewnObject, ...],
    plan: Plan,
    profile: Profile,
    vetoed: frozenset[str],
) -> Round:
    from restitch.sequence import order

    context = Context(profile, source, {o.id: o for o in objects}, vetoed)
    fixed, changes = run_local(plan, context)
    ordered = order(fixed, context, changes)
    return Round(
        source=source,
        objects=objects,
        emission=emit(ordered.plan, source),
        changes=(*changes, *ordered.changes),
        order=ordered.facts,
    )


def _picture(stream: Stream, owner: IntArray, threads: Sequence[int], source: Stream) -> Picture:
    """The picture of a stream; ``threads`` are thread classes of its blocks in the source."""
    near = colour_classes_of(source.threads) if source.colours_known else range(len(source.threads))
    return paint(stream, owner, [near[t] for t in threads], frame_around(source))


def _verdicts(step: Round, before: Picture) -> tuple[Verdict, ...]:
    after = _picture(
        step.emission.stream, step.emission.owner, step.emission.thread_of_block, step.source
    )
    return tuple(
        v
        for v in judge(
            before,
            after,
            changed={o for c in step.applied if c.fix in LOCAL_PASSES for o in c.objects},
            pull_mm=_declared_pull(step.applied),
            swapped=_swapped(step.applied),
            open_objects={o.id for o in step.objects if o.open},
        )
        if not v.kept
    )


def _declared_pull(changes: Iterable[Change]) -> Mapping[int, float]:
    """How far on each side the pull fix says it widened each object, mm."""
    return {
        o: c.after.get("widened_mm", 0.0) / 2 for c in changes if c.fix == "pull" for o in c.objects
    }


def _blamed(step: Round, verdicts: Iterable[Verdict]) -> dict[str, str]:
    """Ids of the changes to take back, each with the guard's reason.

    First the object's own changes; else those of the objects that show in its place; else the
    order as a whole.
    """
    back: dict[str, str] = {}
    for verdict in verdicts:
        for suspects in ((verdict.object,), verdict.blamed):
            own = [
                c.id
                for c in step.applied
                if c.fix != "sequence" and any(o in suspects for o in c.objects)
            ]
            if own:
                break
        else:
            own = [c.id for c in step.applied if c.fix == "sequence"]
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
    source: Stream, objects: Sequence[SewnObject], rounds: Sequence[Round], result: Stream
) -> LookKept:
    """How the whole result compares with the source; restored overlaps are left out."""
    threads = threads_of(source)
    before = _picture(source, owner_of(source, objects), threads, source)
    stack = stack_height(source, before.frame)
    peak = stack.peak(before)
    if not rounds:
        return LookKept(1.0, 0.0, peak, peak)
    excepted = _excepted(before, rounds[0])
    classes = list(threads)
    for step in rounds:
        classes = [classes[t] for t in step.emission.thread_of_block]
    after = _picture(result, np.full(len(result), NO_OBJECT, np.int32), classes, source)
    lost, won = lost_and_won(before, after, excepted, CompareSettings().tolerance)
    covered = int(np.count_nonzero(before.classes)) + int(np.count_nonzero(after.classes))
    return LookKept(
        kept=1.0 - (len(lost.flat) + len(won.flat)) / max(covered, 1),
        bare=gap(before, after),
        peak_before=peak,
        peak_after=stack_height(result, before.frame).peak(after),
        layering_excepted=excepted is not None,
    )


def _excepted(before: Picture, step: Round) -> Plane | None:
    """Where a layering change of the first round shows one object instead of another."""
    swapped = _swapped(step.applied)
    if not swapped:
        return None
    sewn = step.emission
    after = _picture(sewn.stream, sewn.owner, sewn.thread_of_block, step.source)
    return exchanged(before, after, swapped)


def _swapped(changes: Iterable[Change]) -> list[tuple[int, int]]:
    return [(c.objects[0], c.objects[1]) for c in changes if c.fix == "layering"]


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

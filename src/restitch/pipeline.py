"""One design from source to rescued stream: read objects, fix, order, sew, look, settle.

A rescue runs in rounds. Each round reads its own result back as the target file will give it and
fixes again until nothing is left to fix, so that a second run of the command changes nothing.
Within a round the guard compares every object's look with the round's input and takes back the
changes of objects that would suffer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from restitch.aside import Aside, in_turn
from restitch.fabrics.model import Profile
from restitch.look import Frame, Picture, gap
from restitch.look.bits import Plane
from restitch.look.difference import kept_share
from restitch.look.laid import same_thread
from restitch.look.stack import stack_of
from restitch.model import Change, LookKept, OrderFacts, SewnObject, State, Stream
from restitch.plan import NO_OBJECT, threads_of
from restitch.rounds import AsFound, Round, Sewing, as_found, begin, picture, run_round

if TYPE_CHECKING:
    from restitch.files import Encoded

MOST_ROUNDS = 4
"""Rounds of one rescue: most designs settle in the second, which finds nothing (measured)."""


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


def rescue(
    source: Stream,
    profile: Profile,
    vetoed: frozenset[str] = frozenset(),
    target: str = "",
    *,
    objects: tuple[SewnObject, ...] | None = None,
    found: Callable[[], AsFound] | None = None,
    aside: Aside = in_turn,
) -> Rescue:
    """Return the rescued design of a stream.

    ``vetoed``: ids of changes the user does not want. ``target``: format of the file to be
    written (default: the source's), which decides how the result reads back between rounds.
    ``objects`` and ``found``: the source's objects and how it looks `as_found`, where they are
    known already. ``aside``: how work that need not be waited for is done.
    Deterministic: the same arguments give the same result.
    """
    from restitch.infer import infer

    target = target or source.format
    first = infer(source) if objects is None else objects
    current, read, changes = source, first, list[Change]()
    rounds: tuple[Round, ...] = ()
    order = OrderFacts()
    before = found = found or partial(as_found, source, first)
    sewing = begin(source, first, profile, vetoed)
    with ExitStack() as begun:
        for number in range(MOST_ROUNDS):
            then = partial(_written, source, rounds, target)
            onward = partial(_settling, rounds=rounds, profile=profile, vetoed=vetoed)
            step, answers, sewing = run_round(
                sewing, profile, target, before, then, onward, begun, aside
            )
            changes += step.changes if number == 0 else _later(step.applied, number)
            order = step.order if number == 0 else order
            if step.result is None or step.before is None:
                break
            rounds, written = (*rounds, step), answers
            current, read = step.result, step.result_objects
            before = partial(as_found, current, read, step.before.picture.frame)
        if not rounds:
            peak = found().peak
            look = LookKept(1.0, 0.0, peak, peak)
            return Rescue(source, first, source, first, tuple(changes), look, order)
        encoded, look = next(written)
    if not _alike(encoded.stream, current):
        current, read = encoded.stream, infer(encoded.stream)
    return Rescue(source, first, current, read, tuple(changes), look, order, encoded)


def _written(
    source: Stream, rounds: tuple[Round, ...], target: str, last: Round
) -> Iterator[tuple[Encoded, LookKept]]:
    """The file after the last of these rounds, and how it looks beside the source."""
    from restitch.files import encode

    encoded = encode(last.emission.stream, target)
    yield encoded, _look(source, (*rounds, last), encoded.stream)


def _alike(a: Stream, b: Stream) -> bool:
    """Whether two streams hold the same records."""
    return np.array_equal(a.xy, b.xy) and np.array_equal(a.command, b.command)


def _settling(
    step: Round, rounds: tuple[Round, ...], profile: Profile, vetoed: frozenset[str]
) -> Sewing:
    """The round after these and this one begun; widths must not grow for the pull a second time."""
    assert step.result is not None
    held = frozenset[tuple[int, int]]().union(*map(_held_points, (*rounds, step)))
    here = _vetoes_again(step.result, step.result_objects, held, profile, vetoed)
    again = replace(profile, fixes=profile.fixes - {"pull"})
    return begin(step.result, step.result_objects, again, here)


def _later(changes: Iterable[Change], number: int) -> list[Change]:
    """Changes of a later round, told apart from the first round's by their ids."""
    return [replace(c, id=f"{c.id}~{number + 1}") for c in changes]


def _held_points(step: Round) -> frozenset[tuple[int, int]]:
    """Needle points of objects that a veto holds as they are. What the guard took back is tried
    again: a second run would, with the rest put right."""
    held = {o for c in step.changes if c.state is State.VETOED for o in c.objects}
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


def _look(source: Stream, rounds: Sequence[Round], result: Stream) -> LookKept:
    """How the whole result compares with the source; restored overlaps are left out."""
    assert rounds[0].before is not None
    before, peak = rounds[0].before
    excepted = _excepted(rounds)
    after = _picture_of(source, rounds, result, before.frame)
    return LookKept(
        kept=kept_share(before, after, excepted),
        bare=gap(before, after),
        peak_before=peak,
        peak_after=stack_of(after.thread, before.frame).peak(after),
        layering_excepted=excepted is not None,
    )


def _picture_of(source: Stream, rounds: Sequence[Round], result: Stream, frame: Frame) -> Picture:
    """How the result looks: as the guard saw it where the file holds just that thread."""
    *earlier, last = rounds
    if not earlier and last.after is not None and same_thread(result, last.emission.stream):
        return last.after
    classes = list(threads_of(source))
    for step in rounds:
        classes = [classes[t] for t in step.emission.thread_of_block]
    nobody = np.full(len(result), NO_OBJECT, np.int32)
    return picture(result, nobody, classes, source, frame)


def _excepted(rounds: Iterable[Round]) -> Plane | None:
    """Where layering changes of any round show one object instead of another."""
    planes = [step.excepted for step in rounds if step.excepted is not None]
    return np.bitwise_or.reduce(planes) if planes else None

"""The ways to sew one object: where the needle comes in, where it leaves, what that costs."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from restitch.geometry.small import along_mm, lengths_mm
from restitch.model import UNITS_PER_MM, FloatArray, IntArray, Kind, Link, Piece, Role, read_only
from restitch.sequence.body import Body, Pieces, points, run_of, turned
from restitch.sequence.settings import ORDER, OrderSettings
from restitch.sequence.ways import CoveredLine, Run, inset_edge
from restitch.stitch.lines import to_units

if TYPE_CHECKING:
    from shapely import Geometry

RELAID = frozenset({"stack", "top", "underlay"})
"""Marks of an object whose underlay may no longer end where the top begins."""


class Option(NamedTuple):
    """One way to sew the core of an object."""

    parts: tuple[Piece | Run, ...]
    """Pieces, and runs under the cover from one spot to the next."""
    cost_mm: float = 0.0
    """Price of the stitches it adds, as jump travel."""
    entry_found: bool = False
    """The core begins where it was found to begin."""
    exit_found: bool = False
    begin: IntArray | None = None
    """Spot where the needle comes in before the first run; None where a piece comes first."""

    @property
    def pieces(self) -> Pieces:
        """The pieces in sewing order, runs laid as travel."""
        found: list[Piece] = []
        for part in self.parts:
            found += (part,) if isinstance(part, Piece) else run_of(Role.TRAVEL, part.points())
        if self.begin is not None:
            lead = np.vstack([self.begin[None], found[0].xy]).astype(np.int32)
            found[0] = Piece(Role.TRAVEL, read_only(lead))
        return tuple(found)

    @property
    def entry(self) -> IntArray:
        """(2,) first needle point, 0.1 mm."""
        if self.begin is not None:
            return self.begin
        first = self.parts[0]
        assert isinstance(first, Piece)
        entry: IntArray = first.xy[0]
        return entry

    @property
    def exit(self) -> IntArray:
        """(2,) last needle point, 0.1 mm."""
        last = self.parts[-1]
        assert isinstance(last, Piece)
        end: IntArray = last.xy[-1]
        return end


def options_of(
    body: Body, outline: Geometry, settings: OrderSettings = ORDER
) -> tuple[Option, ...]:
    """Return the ways to sew an object, the way it was found first."""
    if body.fixed:
        return (Option(body.core, 0.0, body.entry_found, body.exit_found),)
    ways = _Ways(body, outline, settings)
    return _cheapest([_as_found(body, ways, settings), *ways.all()])


def _as_found(body: Body, ways: _Ways, settings: OrderSettings) -> Option:
    """The object as it came, its underlay and top joined under the cover if need be."""
    plain = Option(body.core, 0.0, body.entry_found, body.exit_found)
    if not body.under or not body.obj.marks & RELAID or _joined(body, settings):
        return plain
    join = ways.joined(body.under, body.top)
    if join is None:
        return plain
    return Option(join.parts, join.cost_mm, body.entry_found, body.exit_found)


def _joined(body: Body, settings: OrderSettings) -> bool:
    """Whether hidden stitches lead from the underlay to the top as they stand."""
    chain = [body.under[-1].xy[-1:], *(p.xy for p in body.joint), body.top[0].xy[:1]]
    steps = lengths_mm(np.concatenate(chain) / UNITS_PER_MM)
    return bool((steps <= settings.hidden_stitch_mm).all())


class _Ways:
    """Underlay and top of one object in all their turns, and the runs that join them."""

    def __init__(self, body: Body, outline: Geometry, settings: OrderSettings) -> None:
        self.body = body
        self.settings = settings
        self.line: CoveredLine | None = None
        if body.obj.kind is Kind.SATIN and len(body.centre_mm) > 1:
            self.line = CoveredLine(body.centre_mm, body.is_ring, settings)
        elif body.obj.kind is Kind.FILL:
            self.line = inset_edge(outline, settings)

    def all(self) -> Iterator[Option]:
        """Every way to sew the object."""
        loops = self._loops()
        if loops:
            tops = self._begun_anywhere()
        else:
            tops = [self.body.top, turned(self.body.top)] if self._turns() else [self.body.top]
        for top in tops:
            found = [j for u in self._unders(top) if (j := self.joined(u, top)) is not None]
            yield from found
            if found and not loops and self.line is not None:
                yield from self._entered_elsewhere(min(found, key=lambda o: o.cost_mm))

    def joined(self, under: Pieces, top: Pieces) -> Option | None:
        """Underlay, a run under the cover to where the top begins, and the top."""
        exit_found = self.body.exit_found and top is self.body.top
        if not under:
            return Option(top, 0.0, self.body.entry_found and top is self.body.top, exit_found)
        run = self._run(under[-1].xy[-1], top[0].xy[0])
        if run is None:
            return None
        entry_found = self.body.entry_found and under is self.body.under
        return Option((*under, run, *top), self._price(run), entry_found, exit_found)

    def _entered_elsewhere(self, option: Option) -> Iterator[Option]:
        """Come in at another spot and run under the cover to where the object begins."""
        if self.body.obj.kind is Kind.FILL:
            assert self.line is not None
            step = max(1, len(self.line.xy_mm) // self.settings.fill_entries)
            spots = to_units(self.line.xy_mm[::step])
        else:
            spots = option.exit[None]
        for spot in spots:
            run = self._run(spot, option.entry)
            if run is not None and run.holes:
                yield Option(
                    (run, *option.parts),
                    option.cost_mm + self._price(run) + self.settings.added_stitch_mm,
                    exit_found=option.exit_found,
                    begin=spot,
                )

    def _run(self, begin: IntArray, end: IntArray) -> Run | None:
        if self.line is not None:
            return self.line.run(begin, end)
        near_mm = float(np.hypot(*(end - begin))) / UNITS_PER_MM
        if near_mm > self.settings.hidden_stitch_mm:
            return None
        return CoveredLine(begin[None] / UNITS_PER_MM, False, self.settings).run(begin, end)

    def _price(self, run: Run) -> float:
        return self.settings.added_stitch_mm * run.holes

    def _turns(self) -> bool:
        """Travel between parts of a top is covered by the later part: turned, it would show."""
        return not any(p.role is Role.TRAVEL for p in self.body.top)

    def _loops(self) -> bool:
        """Whether the top ends where it began, so that it may begin anywhere."""
        if not self._turns():
            return False
        if self.body.obj.kind is Kind.SATIN:
            return self.body.is_ring
        xy = points(self.body.top)
        return self.body.obj.kind is Kind.RUN and len(xy) > 3 and bool((xy[0] == xy[-1]).all())

    def _begun_anywhere(self) -> list[Pieces]:
        """The closed top begun at several spots, in both senses."""
        top = self.body.top
        xy = points(top)
        count = self.settings.ring_starts
        along = along_mm(xy / UNITS_PER_MM)
        starts = np.searchsorted(along, along[-1] * np.arange(1, count) / count)
        far = int(np.argmax(((xy - xy[0]).astype(float) ** 2).sum(axis=1)))
        found = [top, turned(top)]
        for k in dict.fromkeys([*starts.tolist(), far]):
            if 0 < k < len(xy) - 1:
                ring = _begun_at(top, int(k))
                found += [ring, turned(ring)]
        return found

    def _unders(self, top: Pieces) -> list[Pieces]:
        """The underlay in its turns; a closed one also begun next to where the top begins."""
        ring = self._under_ring
        if ring is None:
            return self._under_turns
        x, y = top[0].xy[0].tolist()
        k = int(((ring[0] - x) ** 2 + (ring[1] - y) ** 2).argmin())
        if not 0 < k < len(ring[0]) - 1:
            return self._under_turns
        return [*self._under_turns, _begun_at(self.body.under, k)]

    @cached_property
    def _under_turns(self) -> list[Pieces]:
        under = self.body.under
        if not under or any(p.role is not Role.UNDERLAY for p in under):
            return [under]
        return [under, turned(under)]

    @cached_property
    def _under_ring(self) -> FloatArray | None:
        """(2, n) points of an underlay that closes on itself, else None."""
        xy = points(self.body.under)
        if len(xy) <= 4:
            return None
        gap_mm = float(np.hypot(*(xy[0] - xy[-1]))) / UNITS_PER_MM
        return xy.T.astype(float) if gap_mm <= self.settings.hidden_stitch_mm else None


def _begun_at(pieces: Pieces, k: int) -> Pieces:
    """A closed line begun (and ended) at its point ``k``."""
    xy = points(pieces)
    closed = bool((xy[0] == xy[-1]).all())
    ring = np.concatenate([xy[k:], xy[1 if closed else 0 : k + 1]])
    return (Piece(pieces[0].role, read_only(ring), Link.SEWN, pieces[0].layer),)


def _cheapest(found: list[Option]) -> tuple[Option, ...]:
    """One option for each pair of ends (to 0.3 mm), the cheapest; the first stays first."""
    best: dict[tuple[int, ...], Option] = {}
    first = found[0]
    for option in found:
        (x, y), (u, v) = option.entry.tolist(), option.exit.tolist()
        key = (x // 3, y // 3, u // 3, v // 3)
        known = best.get(key)
        if known is None or (known is not first and option.cost_mm < known.cost_mm):
            best[key] = option
    return tuple(best.values())

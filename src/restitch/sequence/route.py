"""A route through the design: which object after which, each by one of its options."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from restitch.geometry import IndexArray
from restitch.geometry.small import lengths_mm
from restitch.model import (
    UNITS_PER_MM,
    BoolArray,
    FloatArray,
    IntArray,
    Kind,
    Link,
    PlannedObject,
)
from restitch.sequence.bends import bent_ways
from restitch.sequence.body import Body
from restitch.sequence.cover import Cover, cover_of
from restitch.sequence.links import Linker, LinkRules, Links, Way
from restitch.sequence.options import Option

if TYPE_CHECKING:
    from shapely import Geometry

_WAYS = tuple(Way)


class Route(NamedTuple):
    """Objects in sewing order and the option each is sewn by."""

    order: tuple[int, ...]
    """Places in the plan."""
    option: tuple[int, ...]
    """Option of the object at the same place of `order`."""
    way: tuple[Way, ...]
    """How each object is reached from the one before (the first by a jump)."""
    kept: tuple[bool, ...]
    """Whether it is reached as found: the same neighbour, and neither end moved."""
    bends: Mapping[int, FloatArray]
    """Places reached by a hidden way with bends: the way (k, 2) in mm, both ends included."""
    price_mm: float
    """Options and links, as jump travel; without colour changes."""
    colour_changes: int
    trims: int
    jumps: int
    jump_mm: float
    change_mm: float
    """The part of it at colour changes."""

    def jump_price(self, jump_mm: float) -> float:
        """Length of all jumps and a price for each: what the gates compare."""
        return self.jump_mm + jump_mm * self.jumps


@dataclass(frozen=True, eq=False)
class Router:
    """Everything that is known about the objects of a plan when an order is judged."""

    bodies: Sequence[Body]
    options: Sequence[tuple[Option, ...]]
    follows: Sequence[int]
    """For each object the place of the one that was sewn just before it in the source, or -1."""
    outlines: Sequence[Geometry]
    """What each object covers, mm."""
    rules: LinkRules

    @cached_property
    def cover(self) -> Cover:
        """What hides the ways below; worked out when the first route is judged."""
        return cover_of(self.outlines, [_closed(b.obj) for b in self.bodies])

    @cached_property
    def entries_mm(self) -> tuple[FloatArray, ...]:
        """(k, 2) for each object."""
        return tuple(np.array([o.entry for o in k]) / UNITS_PER_MM for k in self.options)

    @cached_property
    def exits_mm(self) -> tuple[FloatArray, ...]:
        """(k, 2) for each object."""
        return tuple(np.array([o.exit for o in k]) / UNITS_PER_MM for k in self.options)

    @cached_property
    def costs_mm(self) -> tuple[FloatArray, ...]:
        """(k,) for each object."""
        return tuple(np.array([o.cost_mm for o in k]) for k in self.options)

    def thread(self, index: int) -> int:
        """Thread class of an object."""
        return self.bodies[index].obj.thread

    def best(self, order: Sequence[int], free: Sequence[bool] | None = None) -> Route:
        """Return the cheapest route in an order, every link at its true price.

        ``free`` tells which objects may be sewn by another option than the one found. The answer
        is exact: a shortest path through the layers of options.
        """
        linker = Linker(self.rules, self.cover, self.cover.last(order))
        choices = [len(k) if free is None or free[i] else 1 for i, k in enumerate(self.options)]
        links = self._links(linker, order, choices)
        back: list[IntArray] = []
        cost = self.costs_mm[order[0]][: choices[order[0]]]
        for b, found in zip(order[1:], links, strict=True):
            total = cost[:, None] + found.price
            back.append(total.argmin(axis=0).astype(np.int32))
            cost = total.min(axis=0) + self.costs_mm[b][: choices[b]]
        option = [int(cost.argmin())]
        for step in reversed(back):
            option.append(int(step[option[-1]]))
        option.reverse()
        route = self._route(order, option, links, float(cost.min()))
        return self._bent(route, linker) if free is None else route

    def as_found(self, order: Sequence[int]) -> Route:
        """Return the route with every object sewn as found."""
        return self.best(order, [False] * len(self.bodies))

    def _links(self, linker: Linker, order: Sequence[int], choices: Sequence[int]) -> list[Links]:
        """Every link from the choices of each object to those of the next."""
        pairs = list(pairwise(order))
        links = linker.chain(
            [self.exits_mm[a][: choices[a]] for a, _ in pairs],
            [self.entries_mm[b][: choices[b]] for _, b in pairs],
            [self.thread(a) == self.thread(b) for a, b in pairs],
        )
        for (a, b), found in zip(pairs, links, strict=True):
            if self.follows[b] == a:
                self._keep(a, b, found)
        return links

    def _keep(self, a: int, b: int, links: Links) -> None:
        """Where neither end moves the link stays as the source has it."""
        exits, entries = links.way.shape
        stays = self._exits_found[a][:exits, None] & self._entries_found[b][:entries]
        links.way[stays], links.price[stays] = self._found_links[b]

    @cached_property
    def _exits_found(self) -> tuple[BoolArray, ...]:
        return tuple(np.array([o.exit_found for o in k]) for k in self.options)

    @cached_property
    def _entries_found(self) -> tuple[BoolArray, ...]:
        return tuple(np.array([o.entry_found for o in k]) for k in self.options)

    @cached_property
    def _found_links(self) -> dict[int, tuple[Way, float]]:
        """The link to each object as the source has it, and its price."""
        return {b: self._found_link(a, b) for b, a in enumerate(self.follows) if a >= 0}

    def _found_link(self, a: int, b: int) -> tuple[Way, float]:
        begin, end = self.bodies[a].obj.pieces[-1].xy[-1], self.bodies[b].obj.pieces[0].xy[0]
        length = float(np.hypot(*(end - begin))) / UNITS_PER_MM
        link = self.bodies[b].obj.pieces[0].link
        settings = self.rules.settings
        if self.thread(a) != self.thread(b):
            return Way.TRIM, length
        if link is Link.SEWN:
            return Way.SEWN, settings.sewn_share * length
        jump = settings.jump_mm if length > settings.moved_mm else 0.0
        if link is Link.JUMP and length <= self.rules.trim_over_mm:
            return Way.JUMP, length + jump
        return Way.TRIM, length + jump + self.rules.trim

    def _route(
        self, order: Sequence[int], option: list[int], links: list[Links], price_mm: float
    ) -> Route:
        ways, kept, jump_mm, change_mm, jumps = [Way.JUMP], [False], 0.0, 0.0, 0
        for place, found in enumerate(links, 1):
            a, b = order[place - 1], order[place]
            i, j = option[place - 1], option[place]
            ways.append(_WAYS[found.way[i, j]])
            stays = self.follows[b] == a
            kept.append(stays and self.options[a][i].exit_found and self.options[b][j].entry_found)
            length = float(found.length_mm[i, j])
            if ways[-1] >= Way.JUMP and length > self.rules.settings.moved_mm:
                jumps, jump_mm = jumps + 1, jump_mm + length
                change_mm += length if self.thread(a) != self.thread(b) else 0.0
        threads = [self.thread(i) for i in order]
        changes = sum(x != y for x, y in pairwise(threads))
        return Route(
            order=tuple(order),
            option=tuple(option),
            way=tuple(ways),
            kept=tuple(kept),
            bends={},
            price_mm=price_mm,
            colour_changes=changes,
            trims=sum(w is Way.TRIM for w in ways) - changes,
            jumps=jumps,
            jump_mm=jump_mm,
            change_mm=change_mm,
        )

    def _bent(self, route: Route, linker: Linker) -> Route:
        """The route with jumps sewn under cover where a way with bends is cheaper."""
        settings, rules = self.rules.settings, self.rules
        ways, bends = list(route.way), dict(route.bends)
        price, jumps, jump_mm = route.price_mm, route.jumps, route.jump_mm
        place, begin, end = self._cut(route)
        for at, length, bend in zip(
            place.tolist(),
            np.hypot(*(end - begin).T).tolist(),
            bent_ways(linker, begin, end, place),
            strict=True,
        ):
            if bend is None:
                continue
            jump = length + settings.jump_mm + (rules.trim if ways[at] is Way.TRIM else 0.0)
            sewn = settings.hidden_share * float(lengths_mm(bend).sum()) + settings.hidden_mm
            if sewn < jump:
                ways[at], bends[at] = Way.HIDDEN, bend
                price, jumps, jump_mm = price + sewn - jump, jumps - 1, jump_mm - length
        trims = sum(w is Way.TRIM for w in ways) - route.colour_changes
        return route._replace(
            way=tuple(ways),
            bends=bends,
            price_mm=price,
            trims=trims,
            jumps=jumps,
            jump_mm=jump_mm,
        )

    def _cut(self, route: Route) -> tuple[IndexArray, FloatArray, FloatArray]:
        """Places that are reached by a fresh jump, not too far, within one colour; and where each
        such jump begins and ends, mm."""
        ends = pairwise(zip(route.order, route.option, strict=True))
        found = [
            (place, self.exits_mm[a][i], self.entries_mm[b][j])
            for place, ((a, i), (b, j)) in enumerate(ends, 1)
            if route.way[place] >= Way.JUMP
            and not route.kept[place]
            and self.thread(a) == self.thread(b)
        ]
        place = np.array([p for p, _, _ in found], np.intp)
        begin, end = (np.array([f[k] for f in found]).reshape(-1, 2) for k in (1, 2))
        near = np.hypot(*(end - begin).T) <= self.rules.settings.travel_to_mm
        return place[near], begin[near], end[near]


def _closed(obj: PlannedObject) -> bool:
    """Whether an object hides what lies under it."""
    return obj.kind is not Kind.RUN and not obj.open

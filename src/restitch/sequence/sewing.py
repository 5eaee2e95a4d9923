"""From a route back to a plan: pieces in their order, each with the link that leads to it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from restitch.fix.context import Plan
from restitch.geometry.small import lengths_mm
from restitch.model import UNITS_PER_MM, FloatArray, Link, PlannedObject, Role
from restitch.sequence.body import Body, Pieces, linked, run_of
from restitch.sequence.links import Way
from restitch.sequence.options import Option
from restitch.sequence.route import Route, Router
from restitch.sequence.settings import OrderSettings
from restitch.stitch.lines import corner_stitches, to_units

_LINK = {Way.SEWN: Link.SEWN, Way.HIDDEN: Link.SEWN, Way.JUMP: Link.JUMP, Way.TRIM: Link.TRIM}


def sewn(route: Route, router: Router) -> Plan:
    """Return the plan of a route. Ends that are reached as found keep ties and travel as found."""
    found: list[PlannedObject] = []
    settings = router.rules.settings
    steps = list(zip(route.order, route.option, route.way, route.kept, strict=True))
    for place, (index, choice, way, kept) in enumerate(steps):
        body, option = router.bodies[index], router.options[index][choice]
        leaves = steps[place + 1] if place + 1 < len(steps) else None
        first_of_all = place == 0 and router.follows[index] < 0 and option.entry_found
        last_of_all = leaves is None and option.exit_found and index not in router.follows
        lead = (
            body.head
            if kept or first_of_all
            else _lead_in(body, option, way, _line(found, option, route.bends.get(place)), settings)
        )
        tail = (
            body.tail
            if last_of_all or (leaves is not None and leaves[3])
            else _lead_out(body, option, leaves[2] if leaves else Way.TRIM)
        )
        link = body.obj.pieces[0].link if kept or first_of_all else _LINK[way]
        if place == 0 and link is Link.SEWN:
            link = Link.JUMP
        pieces = linked((*lead, *option.pieces, *tail), link)
        found.append(replace(body.obj, pieces=pieces, marks=body.obj.marks | _marks(option)))
    return tuple(found)


def _line(found: list[PlannedObject], option: Option, bend: FloatArray | None) -> FloatArray | None:
    """(k, 2) hidden way from where the needle stands to where the option begins, mm."""
    if bend is not None or not found:
        return bend
    here = found[-1].pieces[-1].xy[-1]
    return np.stack([here, option.entry]) / UNITS_PER_MM


def _marks(option: Option) -> frozenset[str]:
    """What an option moves."""
    moved = (("entry", option.entry_found), ("exit", option.exit_found))
    return frozenset(name for name, found in moved if not found)


def _lead_in(
    body: Body, option: Option, way: Way, line_mm: FloatArray | None, settings: OrderSettings
) -> Pieces:
    """What is sewn on the way to the core: travel where it is hidden, the tie where one stands."""
    if way is Way.HIDDEN and line_mm is not None:
        if len(line_mm) == 2 and float(lengths_mm(line_mm).sum()) <= settings.hidden_stitch_mm:
            return ()
        run = corner_stitches(line_mm, settings.travel_stitch_mm)[1:-1]
        return run_of(Role.TRAVEL, to_units(run))
    if way in (Way.JUMP, Way.TRIM) and option.entry_found:
        return _ties_next_to_core(body.head[::-1])[::-1]
    return ()


def _lead_out(body: Body, option: Option, way: Way) -> Pieces:
    if way in (Way.JUMP, Way.TRIM) and option.exit_found:
        return _ties_next_to_core(body.tail)
    return ()


def _ties_next_to_core(loose: Pieces) -> Pieces:
    """The ties up to the first travel, which led to a neighbour that is no more."""
    travel = next((i for i, p in enumerate(loose) if p.role is Role.TRAVEL), len(loose))
    return loose[:travel]

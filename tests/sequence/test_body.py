"""Objects taken apart for ordering: what is sewn as found, what may be turned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from restitch.model import Kind, Link, Piece, Role, read_only
from restitch.sequence.body import bodies
from restitch.stitch.ties import tie_in, tie_off
from stitched import column, sewn, units

UNDER = units([(19, 0), (16, 0), (13, 0), (10, 0), (7, 0), (4, 0), (1, 0)])
TOP = column(20, 3)
SOUND = [(Role.UNDERLAY, UNDER), (Role.TOP, TOP)]


def body_of(stretches, **fields):
    plan, context = sewn((Kind.SATIN, stretches), **fields)
    return bodies(plan, context)[0]


def test_a_sound_object_may_be_sewn_in_other_ways() -> None:
    body = body_of(SOUND)
    assert not body.fixed
    assert [p.role for p in body.under + body.top] == [Role.UNDERLAY, Role.TOP]


def test_taken_apart_an_object_is_all_there_once() -> None:
    tie, lead = tie_in(UNDER), units([(25, 0), (23, 0), (21, 0)])
    stretches = [
        (Role.TRAVEL, lead), (Role.TIE, tie), (Role.UNDERLAY, UNDER),
        (Role.UNDERLAY, UNDER[::-1]), (Role.TRAVEL, lead), (Role.TOP, TOP),
        (Role.TIE, tie_off(TOP)), (Role.TRAVEL, lead),
    ]  # fmt: skip
    body = body_of(stretches)
    parts = (body.head, body.under, body.joint, body.top, body.tail)
    assert [len(p) for p in parts] == [2, 2, 1, 1, 2]
    assert sum(parts, ()) == body.obj.pieces
    assert np.array_equal(body.entry, UNDER[0])
    assert np.array_equal(body.exit, TOP[-1])


@pytest.mark.parametrize(
    "stretches",
    [
        pytest.param([(Role.UNDERLAY, UNDER), (Role.TOP, TOP, 1), (Role.TOP, TOP)], id="layers"),
        pytest.param([(Role.UNDERLAY, UNDER, 1), (Role.TOP, TOP)], id="layer under"),
        pytest.param([(Role.TOP, TOP), (Role.UNDERLAY, UNDER), (Role.TOP, TOP)], id="under top"),
    ],
)
def test_what_lies_over_itself_is_sewn_as_found(stretches) -> None:
    """Turned, a lower layer or an underlay would come to lie on top."""
    assert body_of(stretches).fixed


@pytest.mark.parametrize("link", [Link.JUMP, Link.TRIM, Link.STOP])
def test_an_object_with_a_cut_or_a_stop_inside_is_sewn_as_found(link) -> None:
    plan, context = sewn((Kind.SATIN, SOUND))
    under, top = plan[0].pieces
    broken = replace(plan[0], pieces=(under, replace(top, link=link)))
    assert bodies([broken], context)[0].fixed


def test_a_stop_before_an_object_holds_it_as_found() -> None:
    plan, context = sewn((Kind.SATIN, SOUND))
    under, top = plan[0].pieces
    stopped = replace(plan[0], pieces=(replace(under, link=Link.STOP), top))
    assert bodies([stopped], context)[0].fixed


def test_what_was_read_without_confidence_or_is_held_is_sewn_as_found() -> None:
    plan, context = sewn((Kind.SATIN, SOUND))
    least = context.profile.limits.confidence
    assert not bodies([replace(plan[0], confidence=least)], context)[0].fixed
    assert bodies([replace(plan[0], confidence=least - 0.01)], context)[0].fixed
    assert bodies(plan, replace(context, held=frozenset({0})))[0].fixed


def test_the_hole_that_only_the_tie_visits_stays_with_the_object() -> None:
    # the tie closes on the column's first hole and the column goes on from there
    tie = np.stack([TOP[0], TOP[0] + np.array([8, 0]), TOP[0]]).astype(np.int32)
    body = body_of([(Role.TIE, tie), (Role.TOP, TOP[1:])])
    assert np.array_equal(np.concatenate([p.xy for p in body.core]), TOP)
    assert np.array_equal(np.concatenate([p.xy for p in body.head]), tie[:-1])
    # the same with a tie of that one point: all of it belongs to the column
    alone = body_of([(Role.TIE, TOP[:1]), (Role.TOP, TOP[1:])])
    assert alone.head == ()
    assert np.array_equal(alone.core[0].xy, TOP)
    # reached by a cut, it still is
    before = (Kind.SATIN, [(Role.TOP, column(10, 2, y=20))])
    plan, context = sewn(before, (Kind.SATIN, [(Role.TIE, TOP[:1]), (Role.TOP, TOP[1:])]))
    assert bodies(plan, context)[1].core[0].link is Link.TRIM


def test_an_end_is_moved_only_where_it_was_laid_anew_and_far_off() -> None:
    lead = units([(25, 0), (23, 0), (21, 0)])
    stretches = [(Role.TRAVEL, lead), (Role.UNDERLAY, UNDER), (Role.TOP, TOP), (Role.TRAVEL, lead)]
    plan, context = sewn((Kind.SATIN, stretches))

    def ends(marks, **changes):
        """Whether both ends count as found, with pieces (by number) laid anew."""
        pieces = list(plan[0].pieces)
        for number, xy in changes.items():
            place = int(number[1:])
            pieces[place] = Piece(pieces[place].role, read_only(xy), pieces[place].link)
        obj = replace(plan[0], pieces=tuple(pieces), marks=frozenset(marks))
        (body,) = bodies([obj], context)
        return body.entry_found, body.exit_found

    assert ends(set()) == (True, True)
    # stitches as they were end where they did, wherever the travel leads
    assert ends({"top"}) == (True, True)
    assert ends({"underlay"}, _1=UNDER[::-1].copy()) == (False, True)
    assert ends({"top"}, _2=TOP[::-1].copy()) == (True, False)
    # laid anew right where the object began and ended
    near = np.vstack([lead[:1], UNDER])
    assert ends({"underlay"}, _1=near) == (True, True)
    assert ends({"top"}, _2=np.vstack([TOP, lead[-1:]])) == (True, True)


def test_without_ties_an_object_begins_and_ends_with_its_first_and_last_stitch() -> None:
    plan, context = sewn((Kind.SATIN, SOUND))
    under, top = plan[0].pieces
    for xy, found in ((TOP.copy(), True), (TOP[::-1].copy(), False)):
        relaid = Piece(Role.TOP, read_only(xy), top.link)
        obj = replace(plan[0], pieces=(under, relaid), marks=frozenset({"top"}))
        (body,) = bodies([obj], context)
        assert (body.entry_found, body.exit_found) == (True, found)
    for xy, found in ((UNDER.copy(), True), (UNDER[::-1].copy(), False)):
        relaid = Piece(Role.UNDERLAY, read_only(xy), under.link)
        obj = replace(plan[0], pieces=(relaid, top), marks=frozenset({"underlay"}))
        (body,) = bodies([obj], context)
        assert (body.entry_found, body.exit_found) == (found, True)

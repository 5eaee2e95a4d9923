"""What every fix asks before it touches an object."""

from dataclasses import replace

import pytest

from restitch.fix.objects import may_touch
from restitch.model import Kind, Link, Piece, Role, read_only
from stitched import column, sewn


@pytest.mark.parametrize("place", [1, 2])
def test_an_object_with_an_operator_stop_inside_is_left_alone(place):
    plan, context = sewn((Kind.SATIN, [(Role.TOP, column(20, 3))]))
    piece = plan[0].pieces[0]
    pieces = [Piece(Role.TOP, read_only(piece.xy.copy()), Link.SEWN) for _ in range(3)]
    assert may_touch(replace(plan[0], pieces=tuple(pieces)), context)
    pieces[place] = replace(pieces[place], link=Link.STOP)
    assert not may_touch(replace(plan[0], pieces=tuple(pieces)), context)


def test_a_stop_that_leads_to_the_object_does_not_protect_it():
    plan, context = sewn((Kind.SATIN, [(Role.TOP, column(20, 3))]))
    first = replace(plan[0].pieces[0], link=Link.STOP)
    assert may_touch(replace(plan[0], pieces=(first,)), context)


def test_what_was_read_without_confidence_is_left_alone():
    plan, context = sewn((Kind.SATIN, [(Role.TOP, column(20, 3))]))
    least = context.profile.limits.confidence
    assert may_touch(replace(plan[0], confidence=least), context)
    assert not may_touch(replace(plan[0], confidence=least - 0.01), context)

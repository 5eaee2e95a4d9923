"""What every fix asks before it touches an object."""

from dataclasses import replace

import pytest

from restitch.fix.objects import change_of, gap_mm, may_touch, treated
from restitch.geometry.small import thread_mm
from restitch.model import Kind, Link, Piece, Role, State, read_only
from stitched import column, piece, sewn, units


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


def three_columns(vetoed=()):
    """Three columns on underlay, sewn one into the next without a cut."""
    under, top = units([(1, 0), (3, 0), (5, 0)]), column(10, 2)
    plan, context = sewn(
        *[(Kind.SATIN, [(Role.UNDERLAY, under), (Role.TOP, top)]) for _ in range(3)], vetoed=vetoed
    )
    joined = tuple(
        replace(o, pieces=(replace(o.pieces[0], link=Link.SEWN), *o.pieces[1:]), marks={"top"})
        for o in plan[1:]
    )
    return (plan[0], *joined), context


def without(id_, context):
    """A treatment that takes one object out and leaves the others alone."""
    return lambda o: (
        (None, change_of("stack", "hidden stitching", "out", o, context, {}, {}))
        if o.id == id_
        else None
    )


@pytest.mark.parametrize("gone", [0, 1])
def test_where_an_object_goes_the_thread_is_cut_before_the_next(gone):
    """Else the machine would sew across the place where it was."""
    plan, context = three_columns()
    left, changes = treated(plan, without(gone, context))
    assert [o.id for o in left] == [i for i in range(3) if i != gone]
    after = left[gone]
    assert after.pieces[0].link is Link.TRIM
    assert after.marks == {"top", "entry"}
    assert len(after.pieces) == 2
    assert [p.xy is q.xy for p, q in zip(after.pieces, plan[gone + 1].pieces, strict=True)] == [
        True,
        True,
    ]
    assert len(changes) == 1
    # farther on all is as it was
    assert left[gone + 1 :] == plan[gone + 2 :]


@pytest.mark.parametrize("link", [Link.JUMP, Link.TRIM, Link.STOP])
def test_what_was_reached_without_sewing_stays_as_it_is(link):
    plan, context = three_columns()
    first = replace(plan[1].pieces[0], link=link)
    plan = (plan[0], replace(plan[1], pieces=(first, *plan[1].pieces[1:])), plan[2])
    left, _ = treated(plan, without(0, context))
    assert left == plan[1:]


def test_a_veto_keeps_the_object_and_its_joins():
    plan, _ = three_columns()
    name = f"stack-{plan[1].first_record}"
    _, no = three_columns(vetoed=[name])
    left, changes = treated(plan, without(1, no))
    assert left == plan
    assert changes[0].state is State.VETOED
    assert changes[0].id == name


def test_a_change_says_where_it_is_and_what_it_was():
    plan, context = three_columns()
    change = change_of("stack", "cause", "why", plan[0], context, {"stitches": 9}, {"stitches": 4})
    assert change.objects == (0,)
    assert change.box_mm == (-5, -1, 5, 1)
    assert change.place_mm == (0, 0)
    assert change.stitches_saved == 5
    assert change.state is State.APPLIED


def test_thread_and_gaps_are_told_in_millimetres():
    line = piece(units([(0, 0), (3, 4), (3, 6)]))
    assert thread_mm([line.xy]) == pytest.approx(7.0)
    assert thread_mm([line.xy, line.xy]) == pytest.approx(14.0)
    assert gap_mm(line.xy[0], line.xy[1]) == pytest.approx(5.0)
    # far apart: 0.1 mm units must not run over
    far = units([(-3000, 0), (3000, 0)])
    assert gap_mm(far[0], far[1]) == pytest.approx(6000.0)

"""Overlap and layering, against shapely and networkx."""

from __future__ import annotations

import networkx as nx
import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.geometry import outline
from restitch.geometry.overlap import OverlapLimits, overlaps
from restitch.model import Kind
from restitch.sequence.layering import layering, repaired
from stitched import column, fill, piece, planned

places = st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), max_size=25)


def box_plan(boxes):
    """Fills with the given outlines, each a thread of its own."""
    return [
        planned(Kind.FILL, piece(fill(w, h, x=x, y=y)), first_record=i)
        for i, (x, y, w, h) in enumerate(boxes)
    ]


def threads(plan, of):
    from dataclasses import replace

    return [replace(o, id=i, thread=t) for i, (o, t) in enumerate(zip(plan, of, strict=True))]


boxes = st.lists(
    st.tuples(st.integers(0, 30), st.integers(0, 30), st.integers(4, 15), st.integers(4, 15)),
    min_size=2,
    max_size=8,
)


@settings(max_examples=25, deadline=None)
@given(boxes)
def test_overlaps_are_those_of_the_shapes(found) -> None:
    plan = threads(box_plan(found), range(len(found)))
    pairs = set(overlaps(plan, [outline(o) for o in plan]))
    for i in range(len(found)):
        for j in range(i + 1, len(found)):
            a, b = (shapely.box(x, y, x + w, y + h) for x, y, w, h in (found[i], found[j]))
            shared = a.intersection(b).area
            if shared > 4.0:
                assert (i, j) in pairs
            elif shared == 0.0:
                assert (i, j) not in pairs


def test_objects_that_only_touch_are_no_pair() -> None:
    plan = threads(box_plan([(0, 0, 10, 10), (10, 0, 10, 10)]), (0, 1))
    assert overlaps(plan, [outline(o) for o in plan]) == ()


def test_one_thread_counts_only_for_two_kinds() -> None:
    over = planned(Kind.SATIN, piece(column(8, 3, x=1, y=5)))
    under = box_plan([(0, 0, 10, 10)])[0]
    plan = threads([under, over], (0, 0))
    shapes = [outline(o) for o in plan]
    assert overlaps(plan, shapes) == ((0, 1),)
    assert overlaps(threads([under, under], (0, 0)), [shapes[0]] * 2) == ()
    assert overlaps(plan, shapes, OverlapLimits(same_thread_share=1.1)) == ()


@given(places, places)
def test_layering_never_has_a_cycle_and_keeps_every_wish_it_takes(present, wanted) -> None:
    present = [(min(p), max(p)) for p in present if p[0] != p[1]]
    wanted = [p for p in dict.fromkeys(wanted) if p[0] != p[1] and p[::-1] not in wanted]
    found = layering(present, wanted)
    graph = nx.DiGraph(found.pairs)
    assert nx.is_directed_acyclic_graph(graph)
    assert set(found.swapped) | set(found.refused) == {p for p in wanted if p[0] > p[1]}
    assert {*found.swapped, *found.along} <= set(found.pairs)
    order = repaired(10, found.pairs)
    at = {o: i for i, o in enumerate(order)}
    assert all(at[a] < at[b] for a, b in found.pairs)
    assert not wanted or set(found.refused) != set(wanted) or len(wanted) > 1
    # pairs no wish speaks of, directly or through others, stay as they are
    if not found.swapped:
        assert set(present) <= set(found.pairs)


def test_a_swap_beats_the_present_order_on_its_way() -> None:
    # 0 over nothing, 1 and 2 on top of it in turn; 2 is to go under 0
    found = layering([(0, 1), (1, 2), (0, 2)], [(2, 0)])
    assert found.swapped == ((2, 0),)
    assert repaired(3, found.pairs) == (1, 2, 0)


def test_a_held_pair_refuses_the_swap_that_would_turn_it() -> None:
    found = layering([(0, 1), (1, 2), (0, 2)], [(2, 0)], held=frozenset({(0, 1)}))
    assert found.refused == ((2, 0),)
    assert set(found.pairs) == {(0, 1), (1, 2), (0, 2)}


def test_without_need_the_order_is_the_present_one() -> None:
    rng = np.random.default_rng(5)
    pairs = [(int(a), int(b)) for a, b in np.sort(rng.integers(0, 40, (60, 2)), axis=1) if a != b]
    assert repaired(40, pairs) == tuple(range(40))


def test_what_is_turned_along_with_a_swap_is_told() -> None:
    # 1 lies over the border 0 and under the column 2, whose end belongs under the border
    found = layering([(0, 1), (1, 2), (0, 2)], [(2, 0)])
    assert found.along == ((1, 0),)
    # nothing between: nothing goes along
    assert layering([(0, 2)], [(2, 0)]).along == ()


def test_a_wanted_pair_that_stands_right_is_held() -> None:
    # the end lies under the border as it should, though their shapes were not seen to overlap
    assert layering([(1, 2)], [(0, 2)]).pairs == ((0, 2), (1, 2))
    # so that another swap takes it along
    found = layering([(0, 1)], [(1, 2), (2, 0)])
    assert found.swapped == ((2, 0),)
    assert set(found.pairs) == {(1, 2), (2, 0), (1, 0)}


def test_a_swap_that_is_made_is_not_turned_back_by_a_later_one() -> None:
    # 1 goes under 0, and 0 stays under 2: then 2 cannot go under 1
    found = layering([(0, 1), (1, 2)], [(1, 0), (2, 1), (0, 2)])
    assert found.swapped == ((1, 0),)
    assert found.refused == ((2, 1),)
    assert repaired(3, found.pairs) == (1, 0, 2)


def test_what_is_turned_along_and_back_again_is_not_told() -> None:
    # 1 goes under 0 with 3; the next swap needs it above again
    found = layering([(0, 1), (0, 2), (0, 3), (1, 3)], [(3, 0), (2, 1)])
    assert found.swapped == ((3, 0), (2, 1))
    assert (0, 1) in found.pairs
    assert found.along == ((3, 1),)

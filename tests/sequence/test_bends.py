"""Hidden ways with bends and the cover they lie under, against networkx and shapely."""

from __future__ import annotations

from dataclasses import replace

import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from restitch.geometry import outline
from restitch.model import Kind, Link, Role
from restitch.sequence.bends import _shortest
from restitch.sequence.cover import NOTHING, cover_of
from restitch.sequence.links import Way
from restitch.sequence.ordering import _router
from restitch.sequence.settings import ORDER
from restitch.sequence.sewing import sewn as laid
from stitched import fill, run, sewn


def grid_graph(open_cells, start, goal):
    """Cells joined to their eight neighbours; the two ends count as open."""
    cells = {tuple(c) for c in np.argwhere(open_cells)} | {start, goal}
    graph = nx.Graph()
    graph.add_nodes_from(cells)
    for row, column in cells:
        for a in (-1, 0, 1):
            for b in (-1, 0, 1):
                if (row + a, column + b) in cells and (a or b):
                    graph.add_edge((row, column), (row + a, column + b))
    return graph


@given(arrays.arrays(bool, (7, 9), elements=st.booleans()), st.data())
@settings(max_examples=80, deadline=None)
def test_the_shortest_way_over_open_cells_is_found(open_cells, data) -> None:
    cell = st.tuples(st.integers(0, 6), st.integers(0, 8))
    start, goal = data.draw(cell), data.draw(cell)
    if start == goal:
        return
    open_cells[start] = True
    graph = grid_graph(open_cells, start, goal)
    found = _shortest(open_cells, start, goal, 40)
    if not nx.has_path(graph, start, goal):
        assert found is None
        return
    length = nx.shortest_path_length(graph, start, goal)
    assert found is not None
    assert len(found) == length + 1
    assert tuple(found[0]) == start
    assert tuple(found[-1]) == goal
    assert np.abs(np.diff(found, axis=0)).max() == 1
    assert open_cells[tuple(found[:-1].T)].all()
    # a way that would take too many steps is none
    assert _shortest(open_cells, start, goal, length - 1) is None
    assert _shortest(open_cells, start, goal, length) is not None


def test_ends_outside_the_window_are_not_joined() -> None:
    every = np.ones((4, 4), bool)
    assert _shortest(every, (0, 0), (4, 0), 9) is None
    assert _shortest(every, (0, -1), (3, 0), 9) is None


def at(cover, grid, x, y) -> int:
    return int(grid[cover.cells_of(np.array([x, y]))])


def test_the_last_object_to_cover_a_spot_is_told_by_its_place() -> None:
    shapes = [shapely.box(0, 0, 10, 10), shapely.box(5, 0, 15, 10), shapely.box(0, 0, 15, 10)]
    cover = cover_of(shapes, [True, True, False])
    grid = cover.last([0, 1, 2])
    # what is open covers nothing, whenever it is sewn
    assert [at(cover, grid, x, 5) for x in (2, 7, 13)] == [0, 1, 1]
    grid = cover.last([2, 1, 0])
    assert [at(cover, grid, x, 5) for x in (2, 7, 13)] == [2, 2, 1]
    # outside, however far, and on the edge of the stitching nothing covers
    for x, y in ((-1, 5), (16, 5), (900, -900), (0.2, 5), (7, 9.8)):
        assert at(cover, grid, x, y) == NOTHING


def test_counters_and_parts_are_covered_as_they_are() -> None:
    ring = shapely.box(0, 0, 12, 12).difference(shapely.box(4, 4, 8, 8))
    parts = shapely.MultiPolygon([shapely.box(20, 0, 24, 4), shapely.box(30, 0, 34, 4)])
    cover = cover_of([ring, parts], [True, True])
    grid = cover.last([0, 1])
    assert [at(cover, grid, *spot) for spot in ((2, 6), (6, 6), (10, 6))] == [0, NOTHING, 0]
    assert [at(cover, grid, x, 2) for x in (22, 27, 32)] == [1, NOTHING, 1]


def test_where_nothing_covers_there_is_an_empty_grid() -> None:
    cover = cover_of([shapely.box(0, 0, 9, 9), shapely.box(0, 0, 0.5, 9)], [False, True])
    assert at(cover, cover.last([0, 1]), 4, 4) == NOTHING


def round_a_corner():
    """Two lines that end and begin under an angle of two fills, its inner corner between them."""
    lines = run([(-10, 1.5), (1, 1.5)]), run([(6.5, 7), (6.5, 20)])
    bars = fill(8, 3), fill(3, 8, x=5)
    plan, context = sewn(
        *[(Kind.RUN, [(Role.TOP, line)]) for line in lines],
        *[(Kind.FILL, [(Role.TOP, bar)]) for bar in bars],
    )
    context = replace(context, held=frozenset(range(4)))
    # the second line was sewn after something else: nothing of its way in is kept
    router = _router(plan, [outline(o) for o in plan], context, ORDER)
    return plan, replace(router, follows=(-1, -1, -1, 2))


def test_a_jump_round_a_corner_is_sewn_under_the_cover() -> None:
    plan, router = round_a_corner()
    open_, bent = router.best((0, 1, 2, 3), [True] * 4), router.best((0, 1, 2, 3))
    assert open_.way[1] is Way.TRIM
    assert bent.way[1] is Way.HIDDEN
    way = bent.bends[1]
    assert way[[0, -1]].tolist() == [[1, 1.5], [6.5, 7]]
    length = float(np.hypot(*np.diff(way, axis=0).T).sum())
    gap = float(np.hypot(5.5, 5.5))
    assert gap < length <= ORDER.bend_to_mm
    assert (bent.trims, bent.jumps) == (open_.trims - 1, open_.jumps - 1)
    assert bent.jump_mm == pytest.approx(open_.jump_mm - gap)
    trim = router.rules.trim
    sewn_price = ORDER.hidden_share * length + ORDER.hidden_mm
    assert bent.price_mm == pytest.approx(
        open_.price_mm - (gap + ORDER.jump_mm + trim) + sewn_price
    )
    # laid in stitches of underlay, inside the fills but for the bits at the ends
    found = laid(bent, router)
    assert found[1].pieces[0].role is Role.TRAVEL
    assert found[1].pieces[0].link is Link.SEWN
    cover = shapely.union_all([outline(o) for o in plan[2:]])
    for x, y in found[1].pieces[0].xy / 10:
        assert cover.contains(shapely.Point(x, y))


def test_under_an_earlier_cover_nothing_is_sewn() -> None:
    _, router = round_a_corner()
    assert router.best((2, 3, 0, 1)).way[3] is Way.TRIM
    # nor to another thread
    bodies = [
        replace(b, obj=replace(b.obj, thread=1 if b.obj.id == 1 else 0)) for b in router.bodies
    ]
    other = replace(router, bodies=bodies)
    assert other.best((0, 1, 2, 3)).way[1] is Way.TRIM


def test_a_link_kept_as_found_stays_cut() -> None:
    _, router = round_a_corner()
    found = replace(router, follows=(-1, 0, -1, 2))
    assert found.best((0, 1, 2, 3)).kept[1]
    assert found.best((0, 1, 2, 3)).way[1] is Way.TRIM


def test_a_jump_over_the_longest_is_not_sewn() -> None:
    """The same corner where no hidden way may be longer than the gap itself."""
    _, router = round_a_corner()
    short = router.rules._replace(settings=ORDER._replace(travel_to_mm=7.0))
    assert replace(router, rules=short).best((0, 1, 2, 3)).way[1] is Way.TRIM

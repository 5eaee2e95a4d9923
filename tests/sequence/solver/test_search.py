"""The parts of the search: prices without a table, and moves that keep the tour sound."""

from __future__ import annotations

from itertools import pairwise

import networkx as nx
import numpy as np
import pytest

from restitch.sequence.solver import Instance, Wish, moves, prices, solve
from restitch.sequence.solver.assignment import excess
from restitch.sequence.solver.layers import path_cost
from restitch.sequence.solver.neighbours import Near, near_nodes, windows_of
from restitch.sequence.solver.nodes import nodes_of
from restitch.sequence.solver.onward import onward_orders
from restitch.sequence.solver.precedence import precedence_of
from restitch.sequence.solver.prices import LinkPrices
from restitch.sequence.solver.solve import default_kicks
from restitch.sequence.solver.tour import Tour


def layered(count: int = 40, wish: Wish | None = None) -> Instance:
    random = np.random.default_rng(7)
    return Instance(
        colour=tuple(x * 4 // count for x in range(count)),
        options=tuple(random.uniform(0, 60, (int(random.integers(1, 4)), 4)) for _ in range(count)),
        precedence=tuple((x, x + 9) for x in range(0, count // 2, 2)),
        start=(0.0, 0.0),
        wish=wish,
    )


@pytest.mark.parametrize("wish", [None, Wish(rank=np.arange(40.0), back=2.0)])
def test_prices_are_the_same_with_and_without_a_table(monkeypatch, wish):
    nodes = nodes_of(layered(wish=wish))
    table = LinkPrices(nodes)
    monkeypatch.setattr(prices, "TABLE_NODES", 0)
    plain = LinkPrices(nodes)
    assert table.table is not None
    assert plain.table is None
    a, b = np.indices((nodes.count, nodes.count)).reshape(2, -1)
    np.testing.assert_allclose(plain(a, b), table(a, b))
    every = np.arange(nodes.count)
    begin, end = np.full_like(every, nodes.count), np.full_like(every, nodes.count + 1)
    np.testing.assert_allclose(plain(begin, every), table(begin, every))
    assert not plain(every, end).any()


def begun(instance: Instance, copies: int) -> tuple[Tour, Near]:
    """So many sequences in the order of the objects, and what changes are drawn from."""
    nodes = nodes_of(instance)
    precedence = precedence_of(len(instance), instance.precedence)
    tour = Tour(nodes, precedence, LinkPrices(nodes), [nodes.first[:-1].tolist()], copies)
    windows = windows_of(nodes, precedence, range(len(instance)))
    return tour, near_nodes(nodes, tour.prices, windows, 8)


MOVES = [
    moves.turn,
    moves.insert,
    moves.move_segment,
    moves.reverse,
    moves.reverse_runs,
    moves.reverse_pieces,
    moves.exchange,
    moves.exchange_runs,
    moves.exchange_pieces,
]


@pytest.mark.parametrize("move", MOVES)
@pytest.mark.parametrize("copies", [1, 3])
def test_a_move_changes_the_sequences_and_keeps_them_sound(move, copies):
    instance = layered()
    tour, near = begun(instance, copies)
    random, before = np.random.default_rng(1), tour.seq.copy()
    changed = np.zeros_like(before, np.bool_)
    for _ in range(30):
        move(tour, near, random, 40.0, tour.anchors(4))
        is_sound(tour, instance)
        changed |= tour.seq != before
    assert changed.reshape(copies, -1).any(axis=1).all()


@pytest.mark.parametrize("move", MOVES)
def test_when_it_is_cold_a_move_makes_no_sequence_dearer_and_some_cheaper(move):
    """What a change is said to cost is what it costs: else dearer ones would be made."""
    tour, near = begun(layered(), 3)
    random, first = np.random.default_rng(1), tour.costs()
    cost = first
    for _ in range(60):
        move(tour, near, random, 1e-9, tour.anchors(4))
        was, cost = cost, tour.costs()
        assert (cost <= was + 1e-6).all()
    assert (cost < first - 1.0).any()


def test_lines_of_one_colour_take_fewer_rounds_by_default():
    """Each kind of design its own: by trial, see `default_kicks`."""

    def rounds(count, colours=1, rules=()):
        colour = tuple(x % colours for x in range(count))
        return default_kicks(Instance(colour, tuple(np.zeros((count, 1, 4))), rules))

    assert [rounds(n) for n in (1, 60, 200, 1_000)] == [1_200, 1_200, 2_000, 3_000]
    assert [rounds(n, 2) for n in (1, 60, 200, 1_000, 2_000)] == [1_200, 1_200, 3_400, 5_000, 3_000]
    assert rounds(200, rules=((0, 1),)) == 3_400


@pytest.mark.parametrize(("seed", "ways"), [(0, 6_400), (3, 800)])
def test_what_is_to_come_is_bounded_well_enough_for_a_short_proof(seed, ways):
    """Twice what is needed; without the colour changes to come it takes eight times as many."""
    random, count = np.random.default_rng(seed), 16
    instance = Instance(
        colour=tuple(random.integers(0, 3, count).tolist()),
        options=tuple(random.uniform(0, 60, (2, 4)) for _ in range(count)),
        precedence=tuple((x, x + 5) for x in range(0, count - 5, 3)),
        start=(0.0, 0.0),
    )
    assert solve(instance, kicks=50, proof_ways=ways).proved


def is_sound(tour: Tour, instance: Instance) -> None:
    """Every sequence holds every object in a feasible order, and places and links are right."""
    width = len(instance) + 2
    place = tour.place.reshape(tour.copies, width)
    for first, seq, places in zip(
        tour.base[::width], tour.seq.reshape(-1, width), place, strict=True
    ):
        np.testing.assert_array_equal(tour.owner[seq][places - first], np.arange(width))
        assert all(places[a] < places[b] for a, b in instance.precedence)
    ends = tour.seq == tour.seq[-1]
    right = np.where(ends[:-1], 0.0, tour.prices(tour.seq[:-1], tour.seq[1:]))
    np.testing.assert_allclose(tour.link, np.append(right, 0.0))


def test_exchanges_in_reach_keep_the_tour_sound():
    instance = layered()
    tour, near = begun(instance, 1)
    random, before = np.random.default_rng(1), tour.path()
    for _ in range(30):
        moves.exchange_in_reach(tour, near, random, 40.0, tour.anchors(5))
        is_sound(tour, instance)
    assert tour.path() != before


def test_stretches_change_sides_unless_the_layering_holds_one():
    instance = layered(12)
    nodes = nodes_of(instance)
    tour = Tour(
        nodes, precedence_of(12, ((0, 3),)), LinkPrices(nodes), [nodes.first[:-1].tolist()], 1
    )
    # places: object x is at x + 1
    low, middle, high = np.array([[1, 2, 8], [3, 4, 9], [5, 6, 11]])
    free = tour.pairs.swappable(tour.place, low, middle, high)
    assert free.tolist() == [False, True, True]
    tour.exchange(low[1:], middle[1:], high[1:])
    assert tour.owner[tour.path()].tolist() == [0, 3, 4, 1, 2, 5, 6, 8, 9, 7, 10, 11]


def asymmetric(count: int, seed: int) -> Instance:
    random = np.random.default_rng(seed)
    return Instance(
        colour=(0,) * count,
        options=tuple(np.zeros((1, 4)) for _ in range(count)),
        precedence=tuple((x, x + 5) for x in range(0, count - 5, 4)),
        link_price=random.integers(0, 100, (count, count)).astype(float),
    )


def test_a_stretch_reaches_as_far_as_nothing_that_must_follow_it_is_passed():
    instance = layered(14)
    nodes = nodes_of(instance)
    pairs = ((0, 4), (2, 9), (3, 12), (6, 8))
    tour = Tour(nodes, precedence_of(14, pairs), LinkPrices(nodes), [nodes.first[:-1].tolist()], 1)
    reach = tour.pairs.reach(tour.place)
    places = {x: int(tour.place[x]) for x in range(14)}
    for low in range(1, 14):
        for middle in range(low + 1, 15):
            held = [places[b] for a, b in pairs if low <= places[a] < middle <= places[b]]
            assert reach[low, middle] == min(held, default=15)


def test_excess_is_least_at_the_cheapest_assignment():
    """The excess of any order is its price less the same sum of duals, and never negative."""
    instance = asymmetric(12, seed=3)
    nodes = nodes_of(instance)
    table = excess(nodes, precedence_of(12, instance.precedence))
    assert table.min() >= 0
    # a cheapest assignment uses links of no excess alone: every row and column has one
    assert (table.min(axis=0) < 1e-9).all()
    assert (table.min(axis=1) < 1e-9).all()
    graph = nx.DiGraph(instance.precedence)
    graph.add_nodes_from(range(12))
    orders = [
        list(nx.lexicographical_topological_sort(graph, key=lambda x, way=way: way * x))
        for way in (1, -1)
    ]
    assert orders[0] != orders[1]
    off = {
        round(path_cost(nodes, order) - sum(table[a, b] for a, b in pairwise([12, *order, 12])), 6)
        for order in orders
    }
    assert len(off) == 1


@pytest.mark.parametrize("seed", [0, 1])
def test_the_beam_finds_feasible_orders_near_the_proved_optimum(seed):
    instance = asymmetric(14, seed)
    nodes, precedence = nodes_of(instance), precedence_of(14, instance.precedence)
    best = solve(instance)
    assert best.proved
    for order in onward_orders(excess(nodes, precedence), precedence):
        assert sorted(order) == list(range(14))
        assert all(order.index(a) < order.index(b) for a, b in instance.precedence)
        assert path_cost(nodes, order) <= 1.1 * best.cost

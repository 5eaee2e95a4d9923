"""The parts of the search: prices without a table, and moves that keep the tour sound."""

from __future__ import annotations

from itertools import pairwise

import networkx as nx
import numpy as np
import pytest

from restitch.sequence.solver import Instance, Wish, moves, prices, solve
from restitch.sequence.solver.assignment import excess
from restitch.sequence.solver.layers import path_cost
from restitch.sequence.solver.neighbours import near_nodes, windows_of
from restitch.sequence.solver.nodes import nodes_of
from restitch.sequence.solver.onward import onward_orders
from restitch.sequence.solver.precedence import precedence_of
from restitch.sequence.solver.prices import LinkPrices
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


@pytest.mark.parametrize(
    "move",
    [
        moves.insert,
        moves.move_segment,
        moves.reverse,
        moves.reverse_runs,
        moves.exchange,
        moves.exchange_in_reach,
        moves.exchange_runs,
    ],
)
def test_a_move_changes_the_tour_and_keeps_it_sound(move):
    instance = layered()
    nodes = nodes_of(instance)
    precedence = precedence_of(len(instance), instance.precedence)
    link = LinkPrices(nodes)
    tour = Tour(nodes, precedence, link, nodes.first[:-1].tolist())
    near = near_nodes(nodes, link, windows_of(nodes, precedence, range(len(instance))), 8)
    random, before = np.random.default_rng(1), tour.path()
    for _ in range(30):
        move(tour, near, random, 40.0, 200)
        assert sorted(tour.owner[tour.path()].tolist()) == list(range(len(instance)))
        assert all(tour.place[a] < tour.place[b] for a, b in instance.precedence)
        np.testing.assert_array_equal(tour.owner[tour.seq[tour.place]], np.arange(42))
        np.testing.assert_allclose(tour.link, link(tour.seq[:-1], tour.seq[1:]))
    assert tour.path() != before


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
    tour = Tour(nodes, precedence_of(14, pairs), LinkPrices(nodes), nodes.first[:-1].tolist())
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

"""The parts of the search: prices without a table, and moves that keep the tour sound."""

from __future__ import annotations

import numpy as np
import pytest

from restitch.sequence.solver import Instance, Wish, moves, prices
from restitch.sequence.solver.neighbours import near_nodes, windows_of
from restitch.sequence.solver.nodes import nodes_of
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

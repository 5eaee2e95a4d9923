"""The best pieces of several sequences put together, and how the effort is divided."""

from __future__ import annotations

import numpy as np
import pytest
from test_search import begun, is_sound, layered

from restitch.sequence.solver import Instance, moves, solve
from restitch.sequence.solver.effort import effort_of
from restitch.sequence.solver.merge import merge
from restitch.sequence.solver.nodes import nodes_of
from restitch.sequence.solver.precedence import precedence_of
from restitch.sequence.solver.prices import LinkPrices
from restitch.sequence.solver.tour import Tour

COUNT = 40


def row(pairs: tuple[tuple[int, int], ...] = ()) -> Instance:
    """Dashes in a row, each sewn from either end: cheapest one after the other."""
    x = 2.0 * np.arange(COUNT)
    ends = np.column_stack([x, 0 * x, x + 1, 0 * x])
    options = tuple(np.stack([way, way[[2, 3, 0, 1]]]) for way in ends)
    return Instance(colour=(0,) * COUNT, options=options, precedence=pairs)


def tour_of(instance: Instance, orders: list[list[int]], way: tuple[int, ...] = (0, 0)) -> Tour:
    """The sequences that sew the objects in these orders, each all by one of the two options."""
    nodes = nodes_of(instance)
    paths = [(nodes.first[order] + k).tolist() for order, k in zip(orders, way, strict=True)]
    precedence = precedence_of(len(instance), instance.precedence)
    return Tour(nodes, precedence, LinkPrices(nodes), paths, len(paths))


def muddled(objects: range) -> list[int]:
    return np.random.default_rng(0).permutation(list(objects)).tolist()


FIRST, SECOND = range(COUNT // 2), range(COUNT // 2, COUNT)


def test_each_sequence_takes_over_what_the_other_got_right():
    tour = tour_of(row(), [[*FIRST, *muddled(SECOND)], [*muddled(FIRST), *SECOND]])
    merge(tour)
    is_sound(tour, row())
    assert tour.costs() == pytest.approx(COUNT - 1)


def test_a_piece_is_turned_round_where_the_other_goes_the_other_way():
    back = [*SECOND[::-1], *muddled(FIRST)]
    tour = tour_of(row(), [[*FIRST, *muddled(SECOND)], back], (0, 1))
    merge(tour)
    is_sound(tour, row())
    assert tour.costs() == pytest.approx(COUNT - 1)
    forwards, backwards = tour.owner[tour.seq].reshape(2, -1)[:, 1:-1]
    assert forwards.tolist() == backwards[::-1].tolist() == list(range(COUNT))


def test_nothing_is_turned_round_against_the_layering():
    """Only the first sequence may sew these two from the left: the other has them so already."""
    last = (COUNT - 2, COUNT - 1)
    instance = row((last,))
    right = list(FIRST) + list(SECOND)
    back = [*last, *SECOND[-3::-1], *muddled(FIRST)]
    tour = tour_of(instance, [right, back], (0, 1))
    merge(tour)
    is_sound(tour, instance)


@pytest.mark.parametrize("seed", range(8))
def test_no_sequence_grows_dearer_and_all_stay_sound(seed):
    instance = layered()
    tour, near = begun(instance, 6)
    random = np.random.default_rng(seed)
    for warmth in np.geomspace(30.0, 1.0, 60):
        for move in (moves.insert, moves.reverse, moves.move_segment, moves.turn):
            move(tour, near, random, float(warmth), tour.anchors(1))
    before = tour.costs()
    merge(tour)
    is_sound(tour, instance)
    assert (tour.costs() <= before + 1e-6).all()
    assert tour.costs().mean() < before.mean() - 1.0
    cost = tour.costs()
    merge(tour)
    assert tour.costs() == pytest.approx(cost)


def test_a_tag_alone_is_no_proof(monkeypatch):
    """All pieces have one tag: only those that hold the same objects may be exchanged."""
    monkeypatch.setattr("restitch.sequence.solver.merge._tags", lambda _, low, high: high - low)
    tour = tour_of(row(), [[*FIRST, *muddled(SECOND)], [*muddled(FIRST), *SECOND]])
    merge(tour)
    is_sound(tour, row())


def test_the_search_ends_by_putting_together(monkeypatch):
    met = []
    monkeypatch.setattr("restitch.sequence.solver.anneal.merge", met.append)
    solve(row(), kicks=40)
    (tour,) = met
    assert tour.copies > 1


@pytest.mark.parametrize("count", range(1, 7))
def test_a_few_objects_are_no_trouble(count):
    instance = Instance((0,) * count, row().options[:count])
    tour = tour_of(instance, [list(range(count)), list(range(count))[::-1]])
    merge(tour)
    is_sound(tour, instance)


def lines(count: int, **given: object) -> Instance:
    return Instance((0,) * count, tuple(np.zeros((count, 1, 4))), **given)  # type: ignore[arg-type]


@pytest.mark.parametrize("count", [1, 2, 20, 60, 200, 600, 2_000])
@pytest.mark.parametrize("kicks", [0, 1, 400, 5_000])
def test_no_more_rounds_are_made_than_asked_for(count, kicks):
    effort = effort_of(lines(count), kicks)
    assert effort.rounds <= kicks
    assert bool(effort.rounds) == bool(kicks)
    assert effort.copies >= 1


def test_few_objects_are_searched_in_many_sequences_and_many_in_one():
    """By trial: see `effort`."""
    efforts = [effort_of(lines(n), 1_200) for n in (60, 200, 600, 2_000)]
    assert [(e.rounds, e.copies) for e in efforts] == [(407, 31), (911, 8), (1_200, 1), (1_200, 1)]
    given = lines(60, link_price=np.ones((60, 60)))
    assert effort_of(given, 1_200).copies == 1

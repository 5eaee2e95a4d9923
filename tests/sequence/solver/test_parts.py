"""The parts of the solver by themselves, each against its definition written out or networkx."""

from __future__ import annotations

from itertools import pairwise, permutations, product

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.errors import UsageError
from restitch.sequence.solver import Instance, Weights, Wish, solve
from restitch.sequence.solver.blocks import colour_bound, fewest_blocks
from restitch.sequence.solver.greedy import nearest_in_blocks
from restitch.sequence.solver.layers import best_options, path_cost
from restitch.sequence.solver.neighbours import near_nodes, windows_of
from restitch.sequence.solver.nodes import Nodes, mirrors, nodes_of
from restitch.sequence.solver.precedence import Precedence, precedence_of
from restitch.sequence.solver.prices import LinkPrices
from restitch.sequence.solver.relaxation import onward_prices
from restitch.sequence.solver.tour import Tour

pairs = st.sets(st.tuples(st.integers(0, 7), st.integers(0, 7)).filter(lambda p: p[0] < p[1]))


def made(
    count: int,
    seed: int = 0,
    colours: int = 1,
    options: int = 2,
    precedence: tuple[tuple[int, int], ...] = (),
    **fields: object,
) -> tuple[Nodes, Precedence]:
    random = np.random.default_rng(seed)
    instance = Instance(
        colour=tuple(random.integers(0, colours, count).tolist()),
        options=tuple(random.uniform(0, 50, (options, 4)) for _ in range(count)),
        option_cost_mm=tuple(random.uniform(0, 5, options) for _ in range(count)),
        precedence=precedence,
        start=(0.0, 0.0),
        **fields,  # type: ignore[arg-type]
    )
    return nodes_of(instance), precedence_of(count, precedence)


@given(pairs)
@settings(max_examples=60, deadline=None)
def test_precedence_is_the_reduction_that_networkx_finds(found) -> None:
    precedence = precedence_of(8, found)
    graph = nx.DiGraph(sorted(found))
    graph.add_nodes_from(range(8))
    least = nx.transitive_reduction(graph)
    for x in range(8):
        assert set(precedence.after[x]) == set(least.successors(x))
        assert set(precedence.before[x]) == set(least.predecessors(x))
        assert precedence.before_bits[x] == sum(1 << y for y in least.predecessors(x))
    ahead, behind = precedence.closure()
    for x in range(8):
        assert ahead[x] == sum(1 << y for y in nx.ancestors(graph, x))
        assert behind[x] == sum(1 << y for y in nx.descendants(graph, x))
    place = {x: i for i, x in enumerate(precedence.topological)}
    assert all(place[a] < place[b] for a, b in found)
    back = precedence.reversed()
    assert back.before == precedence.after
    assert back.before_bits == tuple(sum(1 << y for y in after) for after in precedence.after)
    assert back.reversed() == precedence


def test_a_circle_is_named() -> None:
    with pytest.raises(UsageError, match="circle around object 1"):
        precedence_of(4, [(0, 3), (1, 2), (2, 1)])


def block_count(colour, order) -> int:
    return 1 + sum(colour[a] != colour[b] for a, b in pairwise(order))


@given(st.lists(st.integers(0, 2), min_size=2, max_size=7), pairs)
@settings(max_examples=60, deadline=None)
def test_colour_blocks_are_bounded_and_as_few_as_can_be(colour, found) -> None:
    """Against all orders, tried one by one."""
    count = len(colour)
    found = {(a, b) for a, b in found if b < count}
    precedence = precedence_of(count, found)
    bound = colour_bound(colour, precedence)
    best = min(
        block_count(colour, order)
        for order in permutations(range(count))
        if all(order.index(a) < order.index(b) for a, b in found)
    )
    assert bound.blocks((1 << count) - 1) <= best
    sequences = fewest_blocks(colour, precedence, bound, width=100, walks=3)
    for blocks in sequences:
        order = [x for block in blocks for x in block]
        assert sorted(order) == list(range(count))
        assert all(order.index(a) < order.index(b) for a, b in found)
        assert all(len({colour[x] for x in block}) == 1 for block in blocks)
        assert len(blocks) == block_count(colour, order) == best
    assert all(a != b for a, b in pairwise(sequences))


def test_other_sequences_of_colours_as_short_are_found() -> None:
    """Three colours in any order; a bound for colour after colour leaves one."""
    for pairs, most in (((), 6), (((0, 1), (1, 2)), 1)):
        precedence = precedence_of(3, pairs)
        found = fewest_blocks(
            [0, 1, 2], precedence, colour_bound([0, 1, 2], precedence), width=10, walks=60
        )
        assert len(found) == most


def test_everything_is_sewn_in_the_earliest_block_that_can_hold_it() -> None:
    colour, found = [0, 1, 0, 0], [(1, 2)]
    precedence = precedence_of(4, found)
    blocks = fewest_blocks(colour, precedence, colour_bound(colour, precedence), width=10, walks=0)[
        0
    ]
    # either all of colour 0 after the other, or what is free of it before: one change is enough
    assert [sorted(b) for b in blocks] == [[1], [0, 2, 3]]


def greedy(nodes, precedence, blocks, backwards) -> list[int]:
    """The rule written out: always the cheapest object that is free."""
    order, here = [], None
    for block in blocks:
        left = set(block)
        while left:
            free = [x for x in sorted(left) if not set(precedence.before[x]) & left]
            ends = [k for x in free for k in range(nodes.first[x], nodes.first[x + 1])]
            if here is None:
                cost = [0.0 if backwards else float(nodes.into[k]) for k in ends]
            else:
                at = np.full(len(ends), here)
                link = (np.array(ends), at) if backwards else (at, np.array(ends))
                cost = nodes.price(*link).tolist()
            here = ends[int(np.argmin(cost))]
            order.append(int(nodes.owner[here]))
            left.discard(order[-1])
    return order[::-1] if backwards else order


WISH = Wish(rank=np.arange(10)[::-1].astype(float), back=30.0)


@pytest.mark.parametrize("wish", [None, WISH])
@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_the_greedy_order_takes_the_cheapest_free_object(seed, backwards, wish) -> None:
    nodes, precedence = made(
        10, seed, precedence=((0, 3), (3, 7), (2, 5)), trim_over_mm=0.0, wish=wish
    )
    if backwards:
        precedence = precedence.reversed()
    found = nearest_in_blocks(nodes, precedence, [range(10)], backwards=backwards)
    assert found == greedy(nodes, precedence, [range(10)], backwards)


@pytest.mark.parametrize("backwards", [False, True])
def test_the_greedy_order_keeps_to_given_prices_and_blocks(backwards) -> None:
    random = np.random.default_rng(3)
    nodes, precedence = made(8, link_price=random.uniform(0, 9, (16, 16)))
    blocks = [[1, 4, 6], [0, 2, 3], [5, 7]]
    found = nearest_in_blocks(nodes, precedence, blocks, backwards=backwards)
    assert found == greedy(nodes, precedence, blocks, backwards)


@pytest.mark.parametrize("seed", range(6))
def test_the_best_ends_of_an_order_are_those_found_by_trying_all(seed) -> None:
    nodes, _ = made(5, seed, colours=2, options=3, weights=Weights(40.0, 9.0, 1.5))
    order = [3, 0, 4, 1, 2]
    path, cost = best_options(nodes, order)
    every = [
        path_cost(nodes, [int(nodes.first[x]) + k for x, k in zip(order, picked, strict=True)])
        for picked in product(range(3), repeat=5)
    ]
    assert nodes.owner[path].tolist() == order
    assert cost == pytest.approx(min(every))
    assert path_cost(nodes, path) == pytest.approx(cost)


@pytest.mark.parametrize("seed", range(3))
def test_near_nodes_are_the_cheapest_of_their_colour(seed) -> None:
    nodes, precedence = made(12, seed, colours=2)
    prices = LinkPrices(nodes)
    near = near_nodes(nodes, prices, windows_of(nodes, precedence, _by_colour(nodes)), 3)
    objects = nodes.instance.colour
    for node in range(nodes.count):
        own = int(nodes.owner[node])
        mates = [x for x in range(12) if x != own and objects[x] == objects[own]]
        for table, price in (
            (near.after, lambda k, node=node: nodes.price(np.array(node), np.array(k))),
            (near.before, lambda k, node=node: nodes.price(np.array(k), np.array(node))),
        ):
            best = sorted(
                min(float(price(k)) for k in range(nodes.first[x], nodes.first[x + 1]))
                for x in mates
            )
            got = [float(price(k)) for k in table[node]]
            # of so few objects all are looked at: the three cheapest, cheapest first
            assert got == pytest.approx(best[:3])


def _by_colour(nodes) -> list[int]:
    return sorted(range(len(nodes.instance)), key=lambda x: (nodes.instance.colour[x], x))


def test_windows_hold_every_block_an_object_can_be_sewn_in() -> None:
    # colours by turns; 2 must follow 1 (in the second block), 4 must come before 3
    nodes, _ = made(6)
    instance = Instance(colour=(0, 1, 0, 1, 0, 0), options=nodes.instance.options)
    nodes = nodes_of(instance)
    precedence = precedence_of(6, [(1, 2), (4, 3)])
    windows = windows_of(nodes, precedence, [0, 4, 1, 2, 3, 5])
    # blocks: 0: {0, 4}, 1: {1}, 2: {2}, 3: {3}, 4: {5}
    assert windows.first.tolist() == [0, 1, 2, 1, 0, 0]
    assert windows.last.tolist() == [4, 3, 4, 3, 2, 4]
    assert windows.apart(np.array([2, 0]), np.array([4, 2])).tolist() == [False, False]
    assert windows.apart(np.array([1]), np.array([1])).tolist() == [False]


def test_the_mirror_of_an_option_is_its_reverse() -> None:
    ends = np.array([[0.0, 0, 10, 0], [10, 0, 0, 0], [5, 5, 6, 6]])
    nodes = nodes_of(Instance(colour=(0, 0), options=(ends, ends[:2])))
    mirror, exact = mirrors(nodes)
    assert mirror[:2] == [1, 0]
    assert mirror[3:] == [4, 3]
    assert not exact
    both = nodes_of(Instance(colour=(0, 0), options=(ends[:2], ends[:2])))
    assert mirrors(both) == ([1, 0, 3, 2], True)
    # where going back costs another price, turning is not free
    wished = Instance(
        colour=(0, 0), options=(ends[:2], ends[:2]), wish=Wish(rank=np.arange(2.0), back=1.0)
    )
    assert not mirrors(nodes_of(wished))[1]
    dear = Instance(
        colour=(0, 0),
        options=(ends[:2], ends[:2]),
        option_cost_mm=(np.array([0.0, 1.0]), np.zeros(2)),
    )
    assert not mirrors(nodes_of(dear))[1]


def toured(colours=3, count=12, rules=((0, 4), (0, 9), (2, 5), (5, 9))) -> Tour:
    nodes, precedence = made(count, 1, colours=colours, precedence=rules)
    return Tour(nodes, precedence, LinkPrices(nodes), [(nodes.first[:-1] + 1).tolist()], 1)


def test_colour_runs_are_bounded_by_start_and_end() -> None:
    for colours in (1, 3):
        tour = toured(colours)
        colour = tour.colour[tour.seq[1:-1]].tolist()
        starts = [1] + [i + 1 for i in range(1, 12) if colour[i] != colour[i - 1]]
        assert tour.bounds().tolist() == [*starts, 13]


def test_limits_of_an_object_are_its_neighbours_in_the_layering() -> None:
    tour = toured()
    latest, earliest = tour.limits()
    assert [latest[x] for x in (0, 2, 5, 9)] == [5, 6, 10, 13]
    assert [earliest[x] for x in (0, 4, 5, 9)] == [0, 1, 3, 6]


def test_turning_a_stretch_costs_what_its_links_cost_backwards() -> None:
    tour = toured()
    turning = tour.turning()
    a, b = 3, 8
    back = [int(tour.mirror[node]) for node in tour.seq[a : b + 1][::-1]]
    was = float(tour.link[a:b].sum())
    now = float(tour.prices(np.array(back[:-1]), np.array(back[1:])).sum())
    assert turning[b] - turning[a] == pytest.approx(now - was)


def test_a_shift_moves_what_it_may_and_leaves_out_what_breaks_the_layering() -> None:
    tour = toured()
    before = tour.path()
    # 9 may not come before 5; 11 may go anywhere
    at, gap = np.array([10, 12]), np.array([2, 4])
    tour.shift(at, gap, tour.seq[at][:, None].copy())
    owner = tour.owner[tour.path()].tolist()
    assert owner.index(5) < owner.index(9)
    assert owner == [0, 1, 2, 11, 3, 4, 5, 6, 7, 8, 9, 10]
    assert sorted(tour.path()) == sorted(before)
    np.testing.assert_allclose(tour.link[:-1], tour.prices(tour.seq[:-1], tour.seq[1:]))


def test_figures_of_a_solution_are_those_of_its_order() -> None:
    """Four spots on a line, the last of another thread: 10 mm to the first, then 2, 4 and 9."""
    at = [10.0, 12.0, 16.0, 25.0]
    instance = Instance(
        colour=(0, 0, 0, 1),
        options=tuple(np.array([[x, 0.0, x, 0.0]]) for x in at),
        precedence=((0, 1), (1, 2), (2, 3)),
        trim_over_mm=3.0,
        start=(0.0, 0.0),
        weights=Weights(100.0, 7.0, 2.0),
    )
    found = solve(instance)
    assert found.order == (0, 1, 2, 3)
    assert (found.colour_changes, found.trims, found.lower_bound_changes) == (1, 1, 1)
    assert found.travel_mm == pytest.approx(25.0)
    assert found.cost == pytest.approx(2 * 25.0 + 7.0 + 100.0)
    assert found.proved


def test_one_object_is_an_order() -> None:
    ends = np.array([[5.0, 0.0, 9.0, 0.0], [9.0, 0.0, 5.0, 0.0]])
    found = solve(Instance(colour=(3,), options=(ends,), start=(10.0, 0.0)))
    assert (found.order, found.option, found.colour_changes) == ((0,), (1,), 0)
    assert found.cost == pytest.approx(1.0)


@pytest.mark.parametrize("seed", range(4))
def test_the_bound_by_fines_is_near_the_optimum_and_never_above_it(seed) -> None:
    nodes, precedence = made(9, seed, colours=2, precedence=((0, 4), (1, 5), (2, 7)))
    found = solve(nodes.instance)
    assert found.proved
    colour = nodes.instance.weights.colour
    bound = onward_prices(nodes, precedence, found.cost, found.colour_changes)
    at_least = bound.at_least(colour, found.colour_changes)
    assert 0.95 * found.cost <= at_least <= found.cost + 1e-6

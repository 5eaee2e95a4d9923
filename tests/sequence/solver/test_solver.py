"""The solver against brute force, TSPLIB and instances with a proved optimum."""

from __future__ import annotations

import json
import sys
from itertools import pairwise, permutations, product
from pathlib import Path

import networkx as nx
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from restitch.sequence.solver import Instance, Sequence, Weights, solve

sys.path.insert(0, str(Path(__file__).parents[3] / "benchmarks"))
from sequence_instance import instance_of, sop_instance, sop_matrix

DATA = Path(__file__).parent / "data"


ROUNDING_MM = 1e-9
"""A link longer than the limit by this much is just as long: part of the problem's statement."""


def priced(instance: Instance, order, option) -> float:
    """The price of a tour, written out from the problem's words."""
    total, weights = 0.0, instance.weights
    ends = [instance.options[x][k] for x, k in zip(order, option, strict=True)]
    if instance.start is not None:
        total += weights.travel * float(np.hypot(*(ends[0][:2] - instance.start)))
    for (a, b), (x, y) in zip(pairwise(ends), pairwise(order), strict=True):
        length = float(np.hypot(*(b[:2] - a[2:])))
        total += weights.travel * length
        if instance.colour[x] != instance.colour[y]:
            total += weights.colour
        elif length > instance.trim_over_mm + ROUNDING_MM:
            total += weights.trim
    return total


@st.composite
def instances(draw, most: int = 6) -> Instance:
    n = draw(st.integers(2, most))
    places = st.integers(0, 400).map(lambda v: v / 10)
    options = tuple(
        np.array([[draw(places) for _ in range(4)] for _ in range(draw(st.integers(1, 2)))])
        for _ in range(n)
    )
    pairs = draw(st.sets(st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)), max_size=n))
    return Instance(
        colour=tuple(draw(st.integers(0, 2)) for _ in range(n)),
        options=options,
        precedence=tuple(sorted((a, b) for a, b in pairs if a < b)),
        start=draw(st.none() | st.tuples(places, places)),
    )


JUST_AS_LONG = Instance(
    colour=(0, 0),
    options=(np.array([[3.1, 0.0, 0.0, 19.9]]), np.array([[1.8, 22.3, 0.0, 0.0]])),
)
"""Its link is 3 mm, and by the arithmetic of doubles 2e-15 mm more: not trimmed."""


@settings(max_examples=40, deadline=None)
@example(JUST_AS_LONG)
@given(instances())
def test_small_designs_are_solved_to_the_optimum_and_proved(instance):
    best = min(
        priced(instance, order, option)
        for order in permutations(range(len(instance)))
        if all(order.index(a) < order.index(b) for a, b in instance.precedence)
        for option in product(*(range(len(instance.options[x])) for x in order))
    )
    found = solve(instance, kicks=50)
    assert found.proved
    assert found.cost == pytest.approx(best)
    assert priced(instance, found.order, found.option) == pytest.approx(best)
    assert found.lower_bound_changes <= found.colour_changes


@settings(max_examples=15, deadline=None)
@given(instances(most=12), st.integers(0, 3))
def test_order_is_feasible_deterministic_and_never_worse(instance, seed):
    found = solve(instance, kicks=30, seed=seed)
    graph = nx.DiGraph(instance.precedence)
    place = {x: i for i, x in enumerate(found.order)}
    assert sorted(found.order) == list(range(len(instance)))
    assert all(place[a] < place[b] for a, b in graph.edges)
    assert found == solve(instance, kicks=30, seed=seed)
    original = priced(instance, range(len(instance)), (0,) * len(instance))
    assert found.cost <= original + 1e-6


@pytest.mark.parametrize(
    ("name", "best"),
    [("ESC07", 2125), ("ESC11", 2075), ("ESC12", 1675), ("br17.10", 55), ("br17.12", 55)],
)
def test_tsplib_sequential_ordering(name, best):
    """Best known values of TSPLIB's sequential ordering problems (Reinelt, TSPLIB)."""
    text = (DATA / f"{name}.sop").read_text()
    found = solve(sop_instance(text), kicks=4000)
    cost = sop_matrix(text)
    place = {x: i for i, x in enumerate(found.order)}
    assert all(place[j] < place[i] for i, j in np.argwhere(cost < 0).tolist() if i != j)
    length = sum(cost[a, b] for a, b in pairwise(found.order))
    assert length == best


@pytest.mark.parametrize(
    ("name", "reference"), [("mosaic-20-c4-s41", 1629.349), ("lettering-60-c2-s41", 1041.454)]
)
def test_reference_instances(name, reference):
    """restitch sequencing instances: the first reference is proved, the second the best of seven
    long annealing runs; 0.3 % over it is what 60 objects may cost (docs/sequencing.md)."""
    instance = instance_of(json.loads((DATA / f"{name}.json").read_text()))
    found = solve(instance)
    assert found.proved == (len(instance) <= 20)
    assert found.cost <= reference * (1 + 1e-6 if found.proved else 1.003)


def test_larger_designs_are_proved_where_asked():
    random = np.random.default_rng(5)
    ends = random.uniform(0, 40, (22, 4))
    instance = Instance((0,) * 22, tuple(np.stack([row, row[[2, 3, 0, 1]]]) for row in ends))
    plain, proved = solve(instance, kicks=200), solve(instance, kicks=200, proved_objects=22)
    assert not plain.proved
    assert proved.proved
    assert proved.cost <= plain.cost + 1e-9


def test_a_wish_changes_the_order_it_prices():
    from restitch.sequence.solver import Wish

    row = tuple(np.array([[float(x), 0.0, float(x), 0.0]]) for x in range(5))
    plain = Instance(colour=(0,) * 5, options=row, weights=Weights(0, 0, 1), start=(0.0, 0.0))
    wished = Instance(
        colour=(0,) * 5,
        options=row,
        weights=Weights(0, 0, 1),
        start=(0.0, 0.0),
        wish=Wish(rank=np.array([4.0, 3.0, 2.0, 1.0, 0.0]), back=10.0),
    )
    assert solve(plain, kicks=50).order == (0, 1, 2, 3, 4)
    assert solve(wished, kicks=50).order == (4, 3, 2, 1, 0)


def test_original_is_kept_when_nothing_is_better():
    row = tuple(np.array([[float(x), 0.0, float(x), 0.0]]) for x in range(4))
    instance = Instance(
        colour=(0,) * 4, options=row, original=Sequence((0, 1, 2, 3), (0,) * 4), start=(0.0, 0.0)
    )
    assert solve(instance, kicks=20).order == (0, 1, 2, 3)

"""The order search against another solver: CP-SAT of OR-Tools, which proves its optimum.

https://developers.google.com/optimization/cp/cp_solver, package ``ortools``. The problem is written
out once more there, as a circuit over all ways to sew all objects, without any of our code.
"""

from __future__ import annotations

import numpy as np
import pytest

from restitch.sequence.solver import Instance, solve

cp_model = pytest.importorskip("ortools.sat.python.cp_model")

THOUSANDTHS = 1000
"""CP-SAT wants whole numbers: thousandths of the unit of `Weights`."""


def invented(objects: int, colours: int, pairs: int, seed: int) -> Instance:
    """Short lines strewn over 80 x 60 mm, sewn from either end."""
    rng = np.random.default_rng(seed)
    begin = rng.uniform((0, 0), (80, 60), (objects, 2))
    end = begin + rng.normal(0, 6, (objects, 2))
    found = rng.integers(0, objects, (pairs, 2))
    return Instance(
        colour=tuple(rng.integers(0, colours, objects).tolist()),
        options=tuple(np.array([[*a, *b], [*b, *a]]) for a, b in zip(begin, end, strict=True)),
        precedence=tuple({(int(a), int(b)) for a, b in found if a < b}),
        start=(0.0, 0.0),
    )


def proved_cost(instance: Instance, seconds: float) -> tuple[float, float]:
    """(cost, lower bound) that CP-SAT finds, equal where it has proved its optimum."""
    model = cp_model.CpModel()
    nodes = [(x, *row) for x, ways in enumerate(instance.options) for row in ways.tolist()]
    place = [model.new_int_var(0, len(instance) - 1, f"place{x}") for x in range(len(instance))]
    arcs, costs = [], []
    for i, (x, *_, exit_x, exit_y) in enumerate(nodes, 1):
        arcs.append((i, i, model.new_bool_var(f"unused{i}")))
        arcs.append((i, 0, model.new_bool_var(f"last{i}")))
        first = model.new_bool_var(f"first{i}")
        arcs.append((0, i, first))
        assert instance.start is not None
        way = np.hypot(nodes[i - 1][1] - instance.start[0], nodes[i - 1][2] - instance.start[1])
        costs.append((first, instance.weights.travel * way))
        for j, (y, entry_x, entry_y, *_) in enumerate(nodes, 1):
            if x == y:
                continue
            taken = model.new_bool_var(f"{i}to{j}")
            arcs.append((i, j, taken))
            if instance.precedence:
                model.add(place[y] == place[x] + 1).only_enforce_if(taken)
            length = float(np.hypot(entry_x - exit_x, entry_y - exit_y))
            costs.append((taken, _link(instance, x, y, length)))
    model.add_circuit(arcs)
    unused = [literal for a, b, literal in arcs if a == b]
    at = 0
    for ways in instance.options:
        model.add(sum(unused[at : at + len(ways)]) == len(ways) - 1)
        at += len(ways)
    for a, b in instance.precedence:
        model.add(place[a] < place[b])
    model.minimize(sum(literal * round(cost * THOUSANDTHS) for literal, cost in costs))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(model)
    assert status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    return solver.objective_value / THOUSANDTHS, solver.best_objective_bound / THOUSANDTHS


def _link(instance: Instance, x: int, y: int, length_mm: float) -> float:
    weights = instance.weights
    if instance.colour[x] != instance.colour[y]:
        return weights.travel * length_mm + weights.colour
    return weights.travel * length_mm + weights.trim * (length_mm > instance.trim_over_mm + 1e-9)


@pytest.mark.parametrize(
    ("objects", "colours", "pairs", "seed"),
    [(13, 1, 0, 1), (9, 2, 0, 2), (8, 3, 8, 3), (7, 4, 12, 4)],
)
def test_the_proved_optimum_is_the_reference_s(objects, colours, pairs, seed):
    instance = invented(objects, colours, pairs, seed)
    cost, bound = proved_cost(instance, seconds=60)
    assert cost == pytest.approx(bound, abs=0.01), "the reference did not finish"
    ours = solve(instance)
    # a link is rounded to a thousandth
    assert ours.cost == pytest.approx(cost, abs=0.001 * objects)
    assert ours.proved


@pytest.mark.parametrize("seed", [5, 6])
def test_twenty_strewn_lines_are_proved_at_the_reference_s_optimum(seed):
    # a million sets, nearly every link a trim: the bound must be good, and so must the search
    instance = invented(20, 1, 0, seed)
    cost, bound = proved_cost(instance, seconds=60)
    assert cost == pytest.approx(bound, abs=0.01), "the reference did not finish"
    ours = solve(instance, proof_ways=60_000)
    assert ours.proved
    assert ours.cost == pytest.approx(cost, abs=0.02)

"""Solve one sequencing instance and write the solution.

    python benchmarks/sequence_instance.py INSTANCE.json OUT.json [--kicks N] [--seed S] [--prove N]

Reads the instance format `restitch-seq/1` (objects with colour and ends, weights, precedence) or
a TSPLIB sequential ordering problem (.sop). Prints cost and the solver's CPU seconds; the answer
depends on kicks (rounds of the search) and seed alone. ``--prove``: objects up to which a proof
is tried.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import numpy as np

from restitch.sequence.solver import Instance, Sequence, Solution, Weights, solve
from restitch.sequence.solver.solve import PROVED_OBJECTS


def instance_of(document: dict) -> Instance:
    """Return the instance of a `restitch-seq/1` document (ends in mm)."""
    objects = document["objects"]
    place = {o["id"]: i for i, o in enumerate(objects)}
    original = document.get("original")
    weights = document["weights"]
    start = document.get("start")
    return Instance(
        colour=tuple(o["colour"] for o in objects),
        options=tuple(np.array(o["options"], float).reshape(-1, 4) for o in objects),
        precedence=tuple((place[a], place[b]) for a, b in document["precedence"]),
        weights=Weights(weights["colour"], weights["trim"], weights["travel"]),
        trim_over_mm=document["trim_over_mm"],
        start=tuple(start) if start else None,
        original=Sequence(tuple(place[i] for i in original["order"]), tuple(original["option"]))
        if original
        else None,
    )


def sop_matrix(text: str) -> np.ndarray:
    """Return the cost matrix of a TSPLIB .sop file; -1 marks a forbidden arc."""
    body = text.split("EDGE_WEIGHT_SECTION", 1)[1].split("EOF")[0].split()
    size = int(body[0])
    return np.array(body[1 : 1 + size * size], float).reshape(size, size)


def sop_instance(text: str) -> Instance:
    """Return a TSPLIB sequential ordering problem as an instance with its own link prices."""
    cost = sop_matrix(text)
    n = len(cost)
    before = {(j, i) for i, j in np.argwhere(cost < 0).tolist() if i != j}
    before |= {(0, i) for i in range(1, n)} | {(i, n - 1) for i in range(n - 1)}
    price = np.where(cost < 0, 1e7, cost)
    return Instance(
        colour=(0,) * n,
        options=tuple(np.zeros((1, 4)) for _ in range(n)),
        precedence=tuple(sorted(before)),
        link_price=price,
        original=None if _in_order(before) else Sequence(_any_order(n, before), (0,) * n),
    )


def _in_order(before: set[tuple[int, int]]) -> bool:
    return all(a < b for a, b in before)


def _any_order(n: int, before: set[tuple[int, int]]) -> tuple[int, ...]:
    import networkx as nx

    graph = nx.DiGraph()
    graph.add_nodes_from(range(n))
    graph.add_edges_from(before)
    return tuple(nx.lexicographical_topological_sort(graph))


def main() -> None:
    """Solve and write."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("instance", type=Path)
    ask.add_argument("out", type=Path)
    ask.add_argument("--kicks", type=int)
    ask.add_argument("--seed", type=int, default=0)
    ask.add_argument("--prove", type=int, default=PROVED_OBJECTS)
    asked = ask.parse_args()
    text = asked.instance.read_text()
    ids = None
    if asked.instance.suffix == ".sop":
        instance = sop_instance(text)
    else:
        document = json.loads(text)
        instance = instance_of(document)
        ids = [o["id"] for o in document["objects"]]
    begun = time.process_time()
    found: Solution = solve(
        instance, kicks=asked.kicks, seed=asked.seed, proved_objects=asked.prove
    )
    spent = time.process_time() - begun
    order = [ids[i] for i in found.order] if ids else list(found.order)
    asked.out.write_text(json.dumps({"order": order, "option": list(found.option)}))
    print(
        f"cost {found.cost:.1f}, colour changes {found.colour_changes} "
        f"(at least {found.lower_bound_changes}), trims {found.trims}, "
        f"travel {found.travel_mm:.0f} mm, CPU {spent:.2f} s" + (", proved" if found.proved else "")
    )


if __name__ == "__main__":
    main()

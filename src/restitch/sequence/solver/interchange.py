"""Instances and solutions as files: our JSON form and TSPLIB's sequential ordering problems."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from restitch.errors import UsageError
from restitch.sequence.solver.instance import Instance, Sequence, Solution, Weights


def instance_from_json(text: str) -> Instance:
    """Return the instance of a ``restitch-seq/1`` document."""
    data: dict[str, Any] = json.loads(text)
    objects = sorted(data["objects"], key=lambda o: int(o["id"]))
    if [o["id"] for o in objects] != list(range(len(objects))):
        raise UsageError("object ids must be 0 to n-1")
    found = data.get("original")
    return Instance(
        colour=tuple(int(o["colour"]) for o in objects),
        options=tuple(np.array(o["options"], dtype=np.float64) for o in objects),
        precedence=tuple((int(a), int(b)) for a, b in data["precedence"]),
        weights=Weights(**data["weights"]),
        trim_over_mm=float(data["trim_over_mm"]),
        start=tuple(data["start"]) if data.get("start") else None,
        original=Sequence(tuple(found["order"]), tuple(found["option"])) if found else None,
    )


def instance_from_sop(text: str) -> Instance:
    """Return the instance of a TSPLIB SOP file: one option each, explicit link prices.

    An entry of -1 at (i, j) means that j must come before i.
    """
    numbers = text.split("EDGE_WEIGHT_SECTION")[1].replace("EOF", " ").split()
    n = int(numbers[0])
    matrix = np.array(numbers[1 : 1 + n * n], dtype=np.float64).reshape(n, n)
    later, earlier = np.nonzero(matrix == -1)
    return Instance(
        colour=(0,) * n,
        options=(np.zeros((1, 4)),) * n,
        precedence=tuple(zip(earlier.tolist(), later.tolist(), strict=True)),
        link_price=matrix,
    )


def solution_json(solution: Solution) -> str:
    """Return the solution as a JSON document."""
    return json.dumps({"order": solution.order, "option": solution.option})

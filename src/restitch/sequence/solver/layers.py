"""The best options for a fixed order: a shortest path through layers, one layer an object."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from restitch.model import FloatArray
from restitch.sequence.solver.nodes import Index, Nodes


def best_options(nodes: Nodes, order: Sequence[int]) -> tuple[list[int], float]:
    """Return the node of each place of the order that costs least in all, and that cost."""
    first = nodes.first
    size = np.diff(first)[list(order)]
    start = first[:-1][list(order)]
    steps = _steps(nodes, start, size)
    best = nodes.into[start[0] : start[0] + size[0]]
    choice: list[Index] = []
    for price in steps:
        total = best[:, None] + price
        came_from = total.argmin(axis=0)
        choice.append(came_from)
        best = total[came_from, np.arange(total.shape[1])]
    last = int(best.argmin())
    cost = float(best[last])
    picked = [last]
    for came_from in reversed(choice):
        picked.append(int(came_from[picked[-1]]))
    return (start + picked[::-1]).tolist(), cost


def path_cost(nodes: Nodes, path: Sequence[int]) -> float:
    """Price of a sequence of nodes, from the start on."""
    at = np.array(path, dtype=np.int64)
    return float(nodes.into[at[0]] + nodes.price(at[:-1], at[1:]).sum())


def _steps(nodes: Nodes, start: Index, size: Index) -> list[FloatArray]:
    """Price table from each layer to the next, priced in one go."""
    here, there = size[:-1], size[1:]
    cells = here * there
    end = np.cumsum(cells)
    inner = np.arange(cells.sum()) - np.repeat(end - cells, cells)
    across = np.repeat(there, cells)
    a = np.repeat(start[:-1], cells) + inner // across
    b = np.repeat(start[1:], cells) + inner % across
    price = nodes.price(a, b)
    return [
        price[stop - count : stop].reshape(rows, -1)
        for stop, count, rows in zip(end.tolist(), cells.tolist(), here.tolist(), strict=True)
    ]

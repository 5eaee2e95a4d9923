"""How good the order search is on parts of a large instance: the objects around random points.

    python benchmarks/sequence_parts.py INSTANCE.json ... [--objects 60] [--parts 6] [--seeds 3]

A part keeps its objects as they are, every pair of them that the whole instance orders (directly
or over others), the order and the ends of the file. For each file it prints the gap to the best of
`--runs` searches of `--times` as many rounds and of the searches measured, and CPU seconds.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import numpy as np

from restitch.sequence.solver import Instance, Sequence, Solution, solve
from restitch.sequence.solver.precedence import precedence_of
from restitch.sequence.solver.solve import default_kicks
from sequence_instance import instance_of


def parts_of(whole: Instance, count: int, parts: int, seed: int = 0) -> list[Instance]:
    """Return so many parts of so many objects: those nearest to places drawn at random."""
    _, behind = precedence_of(len(whole), whole.precedence).closure()
    middles = np.array([(rows[:, :2] + rows[:, 2:]).mean(axis=0) / 2 for rows in whole.options])
    random = np.random.default_rng(seed)
    places = random.uniform(middles.min(axis=0), middles.max(axis=0), (parts, 2))
    return [_part(whole, behind, _nearest(middles, place, count)) for place in places]


def _nearest(middles: np.ndarray, place: np.ndarray, count: int) -> list[int]:
    away = np.hypot(*(middles - place).T)
    return sorted(np.argsort(away, kind="stable")[:count].tolist())


def _part(whole: Instance, behind: list[int], kept: list[int]) -> Instance:
    number = {x: i for i, x in enumerate(kept)}
    original = whole.original or Sequence(tuple(range(len(whole))), (0,) * len(whole))
    order = [xk for xk in zip(original.order, original.option, strict=True) if xk[0] in number]
    return Instance(
        colour=tuple(whole.colour[x] for x in kept),
        options=tuple(whole.options[x] for x in kept),
        precedence=tuple((number[x], number[y]) for x in kept for y in kept if behind[x] >> y & 1),
        weights=whole.weights,
        trim_over_mm=whole.trim_over_mm,
        start=whole.start,
        original=Sequence(tuple(number[x] for x, _ in order), tuple(k for _, k in order)),
    )


def _measured(instance: Instance, seed: int) -> tuple[Solution, float]:
    begun = time.process_time()
    found = solve(instance, seed=seed)
    return found, time.process_time() - begun


def main() -> None:
    """Print one row for each file."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("files", nargs="+", type=Path)
    ask.add_argument("--objects", type=int, default=60)
    ask.add_argument("--parts", type=int, default=6)
    ask.add_argument("--seeds", type=int, default=3)
    ask.add_argument("--times", type=int, default=10)
    ask.add_argument("--runs", type=int, default=8)
    asked = ask.parse_args()
    for file in asked.files:
        whole = instance_of(json.loads(file.read_text()))
        gaps, spent = [], []
        for part in parts_of(whole, asked.objects, asked.parts):
            found = [_measured(part, seed) for seed in range(asked.seeds)]
            rounds = asked.times * default_kicks(part)
            long = [solve(part, kicks=rounds, seed=100 + run).cost for run in range(asked.runs)]
            costs = [solution.cost for solution, _ in found]
            gaps += [100 * (cost / min(*costs, *long) - 1) for cost in costs]
            spent += [seconds for _, seconds in found]
        print(
            f"{file.stem:24s} gap mean {np.mean(gaps):.2f} %, worst {max(gaps):.2f} %, "
            f"CPU {np.mean(spent):.2f} s, at most {max(spent):.2f} s",
            flush=True,
        )


if __name__ == "__main__":
    main()

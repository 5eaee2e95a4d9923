"""How far the order search stays from a search many times as long, on made-up designs.

    python benchmarks/sequence_families.py [--objects 60 200 600] [--seeds 2] [--times 10]

Families: `bunting` (one colour, no precedence: runs along strings of flags) and `signboards`
(panels, each with a rim sewn after it and letters over both, in several colours). For each size
and family it prints CPU seconds and the gap to the best found in `--times` as many rounds.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from restitch.sequence.solver import Instance, Sequence, solve
from restitch.sequence.solver.solve import default_kicks


def _both_ways(ends: np.ndarray) -> np.ndarray:
    """(2, 4) a run that may be sewn from either end."""
    return np.stack([ends, ends[[2, 3, 0, 1]]])


def bunting(count: int, seed: int) -> Instance:
    """Short runs along sagging strings, in the order of a careless file."""
    random = np.random.default_rng(seed)
    string = random.integers(0, max(2, count // 20), count)
    x = random.uniform(0, 12 * count**0.5, count)
    y = 14 * string + 0.002 * (x - x.mean()) ** 2
    way = random.normal(0, 3, (count, 2))
    ends = np.column_stack([x, y, x + way[:, 0], y + way[:, 1]])
    return Instance(colour=(0,) * count, options=tuple(map(_both_ways, ends)), start=(0.0, 0.0))


def signboards(count: int, seed: int) -> Instance:
    """Boards of one panel, one rim and six letters each; panel before rim and letters."""
    random = np.random.default_rng(seed)
    boards = count // 8
    colour, options, pairs = [], [], []
    for board in range(boards):
        corner = np.array([board % int(boards**0.5 + 1), board // int(boards**0.5 + 1)]) * [42, 24]
        corner = corner + random.uniform(0, 6, 2)
        panel, thread = 8 * board, random.integers(0, 6, 3)
        w, h = random.uniform([24, 10], [34, 16])
        box = corner + np.array([[0, 0], [w, 0], [w, h], [0, h]])
        colour += [int(thread[0]), int(thread[1])]
        options += [np.hstack([box, np.roll(box, -2, axis=0)]), np.hstack([box, box])]
        pairs.append((panel, panel + 1))
        for letter in range(6):
            low = corner + np.array([(letter + 0.5) * w / 7, 2])
            colour.append(int(thread[2]))
            high = low + np.array([random.uniform(-2, 2), h - 4])
            options.append(_both_ways(np.hstack([low, high])))
            pairs.append((panel, panel + 2 + letter))
    total = 8 * boards
    start = np.concatenate([np.arange(k, total, 8) for k in range(8)])
    return Instance(
        colour=tuple(colour),
        options=tuple(options),
        precedence=tuple(pairs),
        start=(0.0, 0.0),
        original=Sequence(tuple(start.tolist()), (0,) * total),
    )


def main() -> None:
    """Print one row for each family and size."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--objects", type=int, nargs="+", default=[60, 200, 600])
    ask.add_argument("--seeds", type=int, default=2)
    ask.add_argument("--times", type=int, default=10)
    asked = ask.parse_args()
    for family in (bunting, signboards):
        for count in asked.objects:
            gaps, spent = [], []
            for seed in range(asked.seeds):
                instance = family(count, seed)
                begun = time.process_time()
                found = solve(instance)
                spent.append(time.process_time() - begun)
                rounds = asked.times * default_kicks(instance)
                longer = solve(instance, kicks=rounds, seed=1)
                gaps.append(100 * (found.cost / min(longer.cost, found.cost) - 1))
            print(
                f"{family.__name__:10s} {count:5d} objects: gap mean {np.mean(gaps):.2f} %, "
                f"worst {max(gaps):.2f} %, CPU {np.mean(spent):.2f} s",
                flush=True,
            )


if __name__ == "__main__":
    main()

"""Whether the reader's confidence means what it says, on invented designs.

    python benchmarks/confidence.py [SEEDS] [--first SEED] [--fit]

Reads designs as `benchmarks/inference.py` makes them (default: 2 seeds from 900000 on, which
nothing was tuned on) and prints, for each range of confidence, how many objects were read right:
kind true, over 95 % of the stitches of one art, over 90 % of their roles true. With `--fit` it
prints the table for `Settings.sure_table` instead; that in use came from

    python benchmarks/confidence.py 4 --first 300 --fit
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "fixtures"))

from inference import readings
from reading import Truth
from restitch.infer import Settings, infer
from restitch.model import SewnObject, Stream

RANGES = (0.0, 0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 1.0)
PURE, ROLES_RIGHT = 0.95, 0.9
LEAST_OBJECTS = 40
"""Of each step of the fitted table."""


def judged(truth: Truth, stream: Stream, objects: Sequence[SewnObject]) -> list[tuple[float, bool]]:
    """Confidence of each object with covering stitches, and whether it was read right."""
    role = np.full(len(stream), "", "U8")
    for obj in objects:
        for part in obj.parts:
            role[part.start : part.stop] = part.role.value
    found = role[truth.record]
    rows = []
    for obj in objects:
        at = slice(*np.searchsorted(truth.record, (obj.start, obj.stop)).tolist())
        body = np.isin(truth.role[at], ("top", "underlay"))
        if not body.any():
            continue
        art = truth.art[at][body]
        main = np.bincount(art).argmax()
        right = (
            truth.kind[at][body][art == main][0] == obj.kind.value
            and (art == main).mean() > PURE
            and (truth.role[at] == found[at])[body].mean() > ROLES_RIGHT
        )
        rows.append((obj.confidence, bool(right)))
    return rows


def fitted(sure: np.ndarray, right: np.ndarray) -> list[tuple[float, float]]:
    """Steps (mean odds as a share, share right) that never fall: pool adjacent violators."""
    order = np.argsort(sure, kind="stable")
    groups = np.array_split(order, max(len(order) // LEAST_OBJECTS, 1))
    steps = [[sure[g].sum(), float(right[g].sum()), len(g)] for g in groups]
    pooled: list[list[float]] = []
    for step in steps:
        pooled.append(step)
        while len(pooled) > 1 and pooled[-2][1] / pooled[-2][2] >= pooled[-1][1] / pooled[-1][2]:
            last = pooled.pop()
            pooled[-1] = [a + b for a, b in zip(pooled[-1], last, strict=True)]
    # one more right and one more wrong in each step: nothing is ever quite certain
    share = np.maximum.accumulate([(r + 1) / (n + 2) for _, r, n in pooled])
    return [
        (round(float(s / n), 4), round(float(q), 4))
        for (s, _, n), q in zip(pooled, share, strict=True)
    ]


def main() -> None:
    """Print the reliability table, or the fitted one."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("seeds", nargs="?", type=int, default=2)
    parser.add_argument("--first", type=int, default=900_000)
    parser.add_argument("--fit", action="store_true")
    asked = parser.parse_args()
    settings = Settings(sure_table=()) if asked.fit else Settings()
    rows = [
        row
        for r in readings(range(asked.first, asked.first + asked.seeds))
        for row in judged(r.truth, r.stream, infer(r.stream, settings))
    ]
    sure, right = np.array(rows, float).T
    if asked.fit:
        print(fitted(sure, right))
        return
    print(f"{'confidence':>14s} {'objects':>8s} {'mean':>7s} {'right':>7s}")
    for low, high in pairwise(RANGES):
        inside = (sure >= low) & ((sure < high) | (high == 1.0))
        if inside.any():
            means = f"{sure[inside].mean():7.3f} {right[inside].mean():7.3f}"
            print(f"{low:6.2f} to {high:4.2f} {int(inside.sum()):8d} {means}")
    print(f"{'all':>14s} {len(sure):8d} {sure.mean():7.3f} {right.mean():7.3f}")


if __name__ == "__main__":
    main()

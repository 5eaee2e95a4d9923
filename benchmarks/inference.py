"""How well invented designs are read whose every stitch is known.

    python benchmarks/inference.py [SEEDS] [--first SEED] [--only NAME] [--all]

Every drawing is sewn with so many seeds (default 2), each with another digitizer's figures, in
another format, and read as it is, broken in several ways, scaled, turned, mirrored, jittered, with
every jump lost, without ties, and as one thread without a cut. Prints the mean and the worst file
of each way, and with `--all` each file. No seed from 900000 on was looked at while the reader was
tuned: the default.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "fixtures"))

from designs.cases import Case, make_case
from designs.drawings import DRAWINGS
from designs.style import any_style
from reading import Score, Truth, score, truth_of
from restitch.infer import infer
from restitch.model import Command, Stream, read_only

FORMATS = ("pes", "dst", "exp", "jef", "vp3", "xxx", "u01", "pec")
BROKEN = (
    ("raised",),
    ("doubled",),
    ("hidden",),
    ("overdense", "dense_underlay"),
    ("missing_underlay", "over_border"),
    ("scrambled", "far_joins"),
    ("blemished",),
    ("raised", "doubled", "scrambled"),
)
OPEN_WORK = ("line_sampler", "applique", "lace", "rigging", "tideline")
"""Nothing is planted in these: all they show is meant."""
JITTER_MM = 0.1


@dataclass(frozen=True, eq=False)
class Reading:
    """One stream with its truth."""

    way: str
    name: str
    stream: Stream
    truth: Truth


def readings(seeds: range, only: str = "") -> Iterator[Reading]:
    """Every drawing, every seed, every way."""
    for number, drawing in enumerate(sorted(DRAWINGS)):
        if only and only not in drawing:
            continue
        for seed in seeds:
            if drawing == "jacket_back" and seed != seeds.start:
                continue
            yield from _of_one(drawing, seed, number)


def _of_one(drawing: str, seed: int, number: int) -> Iterator[Reading]:
    fmt = FORMATS[(seed + number) % len(FORMATS)]
    name = f"{drawing} {seed}"
    case = make_case(drawing, seed, fmt)
    stream, truth = case.stream(), truth_of(case, case.broken)
    yield Reading("as drawn", f"{name} {fmt}", stream, truth)
    if drawing not in OPEN_WORK:
        breakers = BROKEN[(seed + number) % len(BROKEN)]
        bad = make_case(drawing, seed, fmt, breakers)
        yield Reading("broken", f"{name} {fmt} {breakers}", bad.stream(), truth_of(bad, bad.broken))
    for way, change in _changes(seed).items():
        yield Reading(way, name, _moved(stream, change), truth)
    yield Reading("jumps lost", name, *_without(stream, truth, Command.JUMP, Command.TRIM))
    bare = make_case(drawing, seed, "exp", style=replace(any_style(seed), join_mm=2.4))
    yield Reading("letters joined", name, bare.stream(), truth_of(bare, bare.broken))
    untied = _untied(bare)
    yield Reading("no ties", name, untied.stream(), truth_of(untied, untied.broken))


def _untied(case: Case) -> Case:
    links = replace(case.plan.links, ties=False)
    plan = replace(case.plan, links=links)
    return replace(case, plan=plan, twin_plan=plan)


def _changes(seed: int) -> dict[str, Callable[[np.ndarray], np.ndarray]]:
    """What is done to the needle points (0.1 mm) before they are rounded."""
    rng = np.random.default_rng((seed, 5))
    angle = float(rng.uniform(5, 85))
    turn = np.radians(angle)
    matrix = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    most = 10 * JITTER_MM
    return {
        "70 %": partial(np.multiply, 0.7),
        "130 %": partial(np.multiply, 1.3),
        "turned": lambda xy: xy @ matrix,
        "mirrored": lambda xy: xy * [-1.0, 1.0],
        "jittered": lambda xy: xy + rng.uniform(-most, most, xy.shape),
    }


def _moved(stream: Stream, change: Callable[[np.ndarray], np.ndarray]) -> Stream:
    xy = np.rint(change(stream.xy.astype(float))).astype(np.int32)
    return replace(stream, xy=read_only(xy))


def _without(stream: Stream, truth: Truth, *commands: Command) -> tuple[Stream, Truth]:
    """The stream without these records: the needle sews on as if nothing had been there."""
    keep = ~np.isin(stream.command, commands)
    place = np.cumsum(keep) - 1
    bare = replace(
        stream,
        xy=read_only(stream.xy[keep]),
        command=read_only(stream.command[keep]),
        data=None if stream.data is None else read_only(stream.data[keep]),
    )
    return bare, replace(truth, record=place[truth.record])


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("seeds", nargs="?", type=int, default=2)
    parser.add_argument("--first", type=int, default=900_000)
    parser.add_argument("--only", default="")
    parser.add_argument("--all", action="store_true")
    asked = parser.parse_args()
    found: dict[str, list[tuple[Score, str]]] = {}
    for reading in readings(range(asked.first, asked.first + asked.seeds), asked.only):
        result = score(reading.truth, reading.stream, infer(reading.stream))
        found.setdefault(reading.way, []).append((result, reading.name))
        if asked.all:
            print(_row(f"{reading.way}: {reading.name}", _array([(result, "")])[0]))
    print(_row("way (files): mean", ("kind", "role", "border", "surplus")))
    for way, scores in found.items():
        print(_row(f"{way} ({len(scores)})", _array(scores).mean(axis=0)))
    every = [row for scores in found.values() for row in scores]
    print(_row(f"all ({len(every)})", _array(every).mean(axis=0)))
    print(_row("lowest", _array(every).min(axis=0)))
    print(_row("share below 0.90", (_array(every) < 0.9).mean(axis=0)))


def _array(scores: list[tuple[Score, str]]) -> np.ndarray:
    return np.array([(s.kind, s.role, s.border, s.surplus) for s, _ in scores])


def _row(title: str, cells: object) -> str:
    texts = [c if isinstance(c, str) else f"{c:.3f}" for c in cells]  # type: ignore[attr-defined]
    return f"{title:64s} " + " ".join(f"{t:>8s}" for t in texts)


if __name__ == "__main__":
    main()

"""Streams built by hand or taken from the invented designs, and what a reading of them scores."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from designs.cases import Case, make_case
from restitch.infer import infer
from restitch.model import Command, SewnObject, Stream, Thread, read_only

ROLES = ("top", "underlay", "travel", "tie")


def stream_of(*stretches) -> Stream:
    """Each stretch of (k, 2) needle points in 0.1 mm sewn without a cut, a trim between them."""
    rows: list[tuple[int, int, int]] = []
    for xy in stretches:
        first = tuple(int(v) for v in xy[0])
        rows += [(*first, Command.TRIM), (*first, Command.JUMP)] if rows else []
        rows += [(*p, Command.STITCH) for p in np.asarray(xy).tolist()]
    table = np.array([*rows, (*rows[-1][:2], Command.END)], np.int32)
    return Stream(
        read_only(np.ascontiguousarray(table[:, :2])),
        read_only(table[:, 2].astype(np.uint8)),
        (Thread(0x205080),),
        "exp",
    )


def moved(stream: Stream, change) -> Stream:
    """The stream with every position changed alike."""
    xy = np.rint(change(stream.xy.astype(float))).astype(np.int32)
    return Stream(read_only(xy), stream.command, stream.threads, stream.format)


@lru_cache(maxsize=32)
def case(drawing: str, seed: int, fmt: str = "exp", *breakers: str) -> Case:
    """One invented design."""
    return make_case(drawing, seed, fmt, breakers)


@dataclass(frozen=True, eq=False)
class Reading:
    """What was read, record by record: -1 where a record is no stitch."""

    object: np.ndarray
    role: np.ndarray
    layer: np.ndarray
    kind: np.ndarray


def laid_out(stream: Stream, objects: tuple[SewnObject, ...]) -> Reading:
    """Object, role, layer and kind of every record."""
    n = len(stream)
    table = Reading(np.full(n, -1), np.full(n, -1), np.full(n, -1), np.full(n, "", object))
    for obj in objects:
        for part in obj.parts:
            here = slice(part.start, part.stop)
            assert (table.object[here] == -1).all(), "a record belongs to two parts"
            table.object[here] = obj.id
            table.role[here] = ROLES.index(part.role.value)
            table.layer[here] = part.layer
            table.kind[here] = obj.kind.value
    return table


def scores(found: Case, twin: bool = False) -> dict[str, float]:
    """Kind and role macro-F1, boundary recall and surplus F1 of a case's reading."""
    stream = found.stream(twin)
    sewn = found.twin if twin else found.broken
    read = laid_out(stream, infer(stream))
    stitch = stream.command == Command.STITCH
    true_kind = np.array([found.kinds[a] if a >= 0 else "" for a in sewn.art], object)
    body = stitch & np.isin(sewn.role, ("top", "underlay"))
    roles = np.array([ROLES.index(r) if r in ROLES else -1 for r in sewn.role])
    asked = stitch & (roles >= 0)
    return {
        "kind": macro_f1(true_kind[body], read.kind[body]),
        "role": macro_f1(roles[asked], read.role[asked]),
        "surplus": f1((sewn.layer > 0)[stitch], (read.layer > 0)[stitch]),
        "marked": int((read.layer > 0).sum()),
    }


def f1(true: np.ndarray, found: np.ndarray) -> float:
    """F1 of a yes or no label; 1 where there is nothing to find and nothing was found."""
    wrong = int((true != found).sum())
    right = 2 * int((true & found).sum())
    return right / (right + wrong) if right + wrong else 1.0


def macro_f1(true: np.ndarray, found: np.ndarray) -> float:
    """Mean F1 over the labels that occur."""
    return float(np.mean([f1(true == label, found == label) for label in np.unique(true)]))

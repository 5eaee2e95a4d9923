"""How well a stream was read, against the truth of every stitch of an invented design."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "fixtures"))

from designs.cases import Case, Sewn
from restitch.model import Command, SewnObject, Stream

ROLES = ("top", "underlay", "travel", "tie")
JOIN_RECORDS = 3
"""A border counts as found this near to the true one."""


@dataclass(frozen=True, eq=False)
class Truth:
    """What each STITCH record is for, in sewing order."""

    record: np.ndarray
    """(k,) its record in the stream."""
    art: np.ndarray
    kind: np.ndarray
    role: np.ndarray
    layer: np.ndarray
    planted: np.ndarray
    """(k,) a tiny stitch or pile-up put there on purpose: no question of layers."""
    twice: frozenset[int] = frozenset()
    """Arts sewn twice: either sewing may be called the surplus one."""


def truth_of(case: Case, sewn: Sewn) -> Truth:
    """The truth of one file of a case."""
    record = np.flatnonzero(sewn.command == Command.STITCH)
    art = sewn.art[record]
    return Truth(
        record,
        art,
        np.array([case.kinds[a] for a in art]),
        sewn.role[record],
        sewn.layer[record],
        np.array([sewn.labels[i][4] in ("tiny", "pile") for i in record]),
        frozenset(case.swaps) if sewn is case.broken else frozenset(),
    )


@dataclass(frozen=True)
class Score:
    """Macro-F1 of kinds and roles over stitches, F1 of borders and of surplus layers."""

    kind: float
    role: float
    border: float
    surplus: float


def score(truth: Truth, stream: Stream, objects: Sequence[SewnObject]) -> Score:
    """Score a reading of the stream; the truth's records are the stream's."""
    rows = [(o.id, o.kind.value, p.role.value, p.layer, p) for o in objects for p in o.parts]
    found = np.full(len(stream), -1)
    for row, (*_, part) in enumerate(rows):
        found[part.start : part.stop] = row
    at = found[truth.record]
    read = [np.array([row[k] for row in rows])[at] for k in range(4)]
    covering = np.isin(truth.role, ("top", "underlay"))
    return Score(
        macro_f1(truth.kind[covering], read[1][covering]),
        macro_f1(truth.role, read[2]),
        _border_f1(truth, read[0]),
        _surplus_f1(truth, read[3] > 0),
    )


def f1(true: np.ndarray, found: np.ndarray) -> float:
    """F1 of a yes or no label; 1 where there is nothing to find and nothing was found."""
    wrong, right = int((true != found).sum()), 2 * int((true & found).sum())
    return right / (right + wrong) if right + wrong else 1.0


def macro_f1(true: np.ndarray, found: np.ndarray) -> float:
    """Mean F1 over the labels that occur in the truth."""
    return float(np.mean([f1(true == label, found == label) for label in np.unique(true)]))


def _border_f1(truth: Truth, owner: np.ndarray) -> float:
    """Ties and travel between two objects may go to either of them; a border where only the layer
    changes within an art is a matter of taste."""
    count = len(owner)
    joins = np.isin(truth.role, ("travel", "tie"))
    tie = truth.role == "tie"
    mine = (np.flatnonzero(np.diff(owner)) + 1).tolist()
    real = (np.flatnonzero(np.diff(truth.art)) + 1).tolist()
    layers = np.flatnonzero((np.diff(truth.layer) != 0) & (np.diff(truth.art) == 0)) + 1
    left = set(mine)
    hits = 0
    for border in real:
        low, high = border, border
        while high < count - 1 and joins[high] and truth.art[high] == truth.art[border]:
            high += 1
        while low > 1 and tie[low - 1] and truth.art[low - 1] == truth.art[border - 1]:
            low -= 1
        near = [b for b in left if low - JOIN_RECORDS <= b <= high + JOIN_RECORDS]
        if near:
            left.discard(min(near))
            hits += 1
    wrong = sum(not len(layers) or int(np.abs(layers - b).min()) > 8 for b in left)
    total = 2 * hits + wrong + len(real) - hits
    return 2 * hits / total if total else 1.0


def _surplus_f1(truth: Truth, found: np.ndarray) -> float:
    true = truth.layer > 0
    for art in truth.twice:
        own = (truth.art == art) & ~truth.planted
        if true[own].any() and (true[own] != found[own]).sum() > (true[own] == found[own]).sum():
            true[own] = ~true[own]
    asked = ~truth.planted
    return f1(true[asked], found[asked])

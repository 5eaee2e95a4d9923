"""A draft object: pieces that belong together, before it becomes a `SewnObject`."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from restitch.infer.piece import Look, Piece
from restitch.model import Kind


@dataclass(slots=True)
class Draft:
    """Pieces of one chain that make one object; filled in step by step."""

    chain: int
    pieces: list[Piece]
    """All pieces, in sewing order."""
    dense: list[Piece]
    """The covering ones, in sewing order; empty for runs and open objects."""
    anew: list[int] = field(default_factory=list)
    """Positions in ``dense`` that follow an underlay of their own (a copy in one go)."""
    kind: Kind = Kind.RUN
    open: bool = False
    layer: int = 0
    """Over 0: the whole object is surplus."""
    copy_of: Draft | None = None
    hidden: bool = False
    confidence: float = 1.0

    @property
    def p0(self) -> int:
        """First body point."""
        return self.pieces[0].p0

    @property
    def p1(self) -> int:
        """One past the last body point."""
        return self.pieces[-1].p1

    @property
    def sittings(self) -> list[tuple[int, list[Piece]]]:
        """Each underlay with what covers it: its first body point, and the dense pieces on it."""
        bounds = [0, *self.anew, len(self.dense)]
        groups = [self.dense[a:b] for a, b in pairwise(bounds)]
        starts = [self.p0, *(self.dense[a - 1].p1 for a in self.anew)]
        return list(zip(starts, groups, strict=True))

    @property
    def top(self) -> list[Piece]:
        """The pieces that are seen."""
        if self.dense:
            return self.dense
        return [p for p in self.pieces if p.look == Look.OPEN] if self.open else self.pieces


class Marks(NamedTuple):
    """Role and surplus layer of every body point, written by the later steps."""

    role: NDArray[np.int8]
    """(m,) position in ``ROLES``."""
    layer: NDArray[np.int16]

    @classmethod
    def blank(cls, points: int) -> Marks:
        """All top, layer 0."""
        return cls(np.zeros(points, np.int8), np.zeros(points, np.int16))


TOP, UNDERLAY, TRAVEL, TIE = range(4)
"""Codes of the roles in `Marks.role`, in the order of `restitch.model.Role`."""

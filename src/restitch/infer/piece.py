"""A piece: strokes of one label in a row, and the needle points it owns."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum


class Look(IntEnum):
    """What a piece looks like on its own."""

    RUN = 0
    DENSE = 1
    OPEN = 2


@dataclass(slots=True)
class Piece:
    """A stretch of a chain with one look; edited only while pieces are being settled."""

    look: Look
    chain: int
    s0: int
    s1: int
    """Strokes ``[s0, s1)``; empty for the points between two ladders that no stroke covers."""
    p0: int
    p1: int
    """Body points ``[p0, p1)``: the pieces of a chain partition its body."""

    @property
    def strokes(self) -> int:
        return self.s1 - self.s0

    @property
    def points(self) -> int:
        return self.p1 - self.p0

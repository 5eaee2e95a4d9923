"""How often the guard refuses sound changes and passes harmful ones, on invented designs.

    python benchmarks/guard.py [SEEDS] [--first SEED] [--objects N]

Sound twins of the generated designs (default: 1 seed from 900000 on), one object edited at a time:
the picture is painted before and after and judged by the strict limits, which hold for trades of
place and single edits, and by those of a round, which a whole rescue needs. Prints a table for
`docs/guard.md`. Counts are of objects for which the edit is possible and does something.
"""

from __future__ import annotations

import argparse
import sys
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "fixtures"))

from designs.cases import make_case
from restitch.geometry import ladder_of
from restitch.infer import infer
from restitch.look import GuardLimits, Picture, frame_around, judge, paint
from restitch.model import IntArray, Kind, Link, Piece, PlannedObject, Role, Stream
from restitch.plan import emit, plan_of, renewed
from restitch.rounds import ROUND_LIMITS
from restitch.stitch.fill import fill_stitch_mm, rerowed
from restitch.stitch.satin import relaid_satin
from restitch.stitch.widen import widened

DRAWINGS = ("bakehouse", "buoys", "cap_name", "harbour_shield", "herring", "pennant", "rowing")
DRAWINGS += ("sail_day", "signal_flags", "wreath")
FORMATS = ("pes", "dst", "exp", "jef")
LEAST_POINTS = 24
"""Smaller objects have too little to edit."""
SPLIT_OVER_MM = 7.2
MARGIN = 120
"""Pixels around the design: more than any edit reaches out."""

Edit = Callable[[PlannedObject, np.random.Generator], PlannedObject | None]


def on_cover(change: Callable[[Piece, Kind], IntArray | None]) -> Edit:
    """The edit that changes the needle points of the cover; None where it changes nothing."""

    def edit(obj: PlannedObject, _: np.random.Generator) -> PlannedObject | None:
        pieces, done = [], False
        for piece in obj.pieces:
            if piece.role is Role.TOP and piece.layer == 0 and len(piece.xy) > 6:
                xy = change(piece, obj.kind)
                if xy is not None and len(xy) > 1:
                    piece, done = renewed(piece, xy), True
            pieces.append(piece)
        return replace(obj, pieces=tuple(pieces)) if done else None

    return edit


def jittered(obj: PlannedObject, rng: np.random.Generator) -> PlannedObject:
    pieces = [
        renewed(p, p.xy + rng.integers(-1, 2, p.xy.shape, dtype=np.int32)) for p in obj.pieces
    ]
    return replace(obj, pieces=tuple(pieces))


def reversed_(obj: PlannedObject, _: np.random.Generator) -> PlannedObject | None:
    if any(p.link is not Link.SEWN for p in obj.pieces[1:]):
        return None
    pieces = [renewed(p, p.xy[::-1], link=Link.SEWN) for p in obj.pieces[::-1]]
    return replace(obj, pieces=(replace(pieces[0], link=Link.TRIM), *pieces[1:]))


def bare(obj: PlannedObject, _: np.random.Generator) -> PlannedObject | None:
    kept = [p for p in obj.pieces if p.role is not Role.UNDERLAY]
    if len(kept) == len(obj.pieces) or not kept:
        return None
    return replace(obj, pieces=(replace(kept[0], link=Link.TRIM), *kept[1:]))


def dropped(obj: PlannedObject, _: np.random.Generator) -> PlannedObject:
    """Nothing is left of it but one hole."""
    return replace(obj, pieces=(replace(obj.pieces[0], xy=obj.pieces[0].xy[:1]),))


def spaced(share: float) -> Edit:
    """Laid anew at a multiple of its own spacing."""

    def change(piece: Piece, kind: Kind) -> IntArray | None:
        rungs = ladder_of(piece)
        if kind is Kind.RUN or not rungs.is_regular:
            return None
        if kind is Kind.SATIN:
            return relaid_satin(rungs, share * rungs.satin_spacing_mm, SPLIT_OVER_MM)
        return rerowed(rungs, share * rungs.fill_spacing_mm, fill_stitch_mm(rungs))

    return on_cover(change)


def wider(by_mm: float) -> Edit:
    """Each side of a column or row moved out (in, below 0)."""

    def change(piece: Piece, kind: Kind) -> IntArray | None:
        rungs = ladder_of(piece)
        if kind is Kind.RUN or not rungs.is_regular or rungs.width_mm < 1.2:
            return None
        return widened(rungs, np.full(len(rungs) + 1, by_mm))

    return on_cover(change)


def thinned(every: int) -> Edit:
    """Each such stitch of a column's dropped, both its ends."""

    def change(piece: Piece, kind: Kind) -> IntArray | None:
        if kind is not Kind.SATIN:
            return None
        return piece.xy[np.arange(len(piece.xy)) // 2 % every != every - 1]

    return on_cover(change)


def moved(units: int) -> Edit:
    shift = np.array([units, units], np.int32) * 7 // 10
    return on_cover(lambda piece, _: piece.xy + shift)


def cut(piece: Piece, _: Kind) -> IntArray:
    return piece.xy[: int(0.7 * len(piece.xy))]


def strayed(piece: Piece, _: Kind) -> IntArray:
    middle = len(piece.xy) // 2
    stray = piece.xy[middle] + np.array([[57, 57], [59, 55], [57, 58], [54, 60]], np.int32)
    return np.concatenate([piece.xy[:middle], stray, piece.xy[middle:]])


HARMLESS: dict[str, Edit] = {
    "needle points off by the file's step": jittered,
    "sewn from the other end": reversed_,
    "underlay left out": bare,
    "laid anew at its own spacing": spaced(1.0),
    "laid anew 5 % opener": spaced(1.05),
    "widened 0.1 mm a side": wider(0.1),
}
HARMFUL: dict[str, Edit] = {
    "every fourth stitch dropped": thinned(4),
    "laid anew at one and a half the spacing": spaced(1.5),
    "laid anew at twice the spacing": spaced(2.0),
    "shifted 0.5 mm": moved(5),
    "shifted 1.0 mm": moved(10),
    "narrowed 0.3 mm a side": wider(-0.3),
    "widened 0.6 mm a side": wider(0.6),
    "last 30 % cut off": on_cover(cut),
    "stray stitches of 8 mm": on_cover(strayed),
    "left out": dropped,
}


@dataclass(frozen=True, eq=False)
class Design:
    """A design as found, with its picture."""

    source: Stream
    plan: tuple[PlannedObject, ...]
    before: Picture

    @classmethod
    def of(cls, drawing: str, seed: int) -> Design:
        fmt = FORMATS[seed % len(FORMATS)]
        source = make_case(drawing, seed, fmt).stream()
        plan = plan_of(source, infer(source))
        return cls(source, plan, painted(plan, source))

    def with_edit(self, place: int, edited: PlannedObject) -> Picture:
        plan = (*self.plan[:place], edited, *self.plan[place + 1 :])
        return painted(plan, self.source)

    def chosen(self, count: int, rng: np.random.Generator) -> Sequence[int]:
        """Places of objects to edit: seen, not open, of some size."""
        seen = set(self.before.thread.owner_of_slot.tolist())
        fit = [
            i
            for i, o in enumerate(self.plan)
            if o.id in seen
            and not o.open
            and o.kind is not Kind.RUN
            and len(o.points(Role.TOP)) >= LEAST_POINTS
        ]
        return sorted(rng.permutation(fit)[:count].tolist())


def painted(plan: Sequence[PlannedObject], source: Stream) -> Picture:
    sewn = emit(plan, source)
    frame = frame_around(source, margin=MARGIN)
    return paint(sewn.stream, sewn.owner, sewn.thread_of_block, frame)


def refused(
    design: Design, place: int, edited: PlannedObject, limits: Sequence[GuardLimits]
) -> list[bool]:
    """Whether each of the limits refuses the edit; what an edit cannot show is no error."""
    after = design.with_edit(place, edited)
    name = design.plan[place].id
    return [
        any(not v.kept for v in judge(design.before, after, changed={name}, limits=one))
        for one in limits
    ]


def tried(seeds: range, objects: int) -> Iterator[tuple[str, list[bool]]]:
    """Every edit of every chosen object: its name, and what both sets of limits say."""
    for drawing in DRAWINGS:
        for seed in seeds:
            design = Design.of(drawing, seed)
            rng = np.random.default_rng((seed, zlib.crc32(drawing.encode())))
            for place in design.chosen(objects, rng):
                for name, edit in {**HARMLESS, **HARMFUL}.items():
                    edited = edit(design.plan[place], rng)
                    if edited is not None:
                        yield name, refused(design, place, edited, (GuardLimits(), ROUND_LIMITS))


def table(rows: dict[str, list[list[bool]]], edits: dict[str, Edit], wrong: bool) -> Iterator[str]:
    """Lines of a table: the share of each edit that is refused, and all errors."""
    total = np.zeros((0, 2), bool)
    for name in edits:
        found = np.array(rows.get(name, [])).reshape(-1, 2)
        total = np.concatenate([total, found == wrong])
        strict, round_ = found.mean(axis=0) if len(found) else (np.nan, np.nan)
        yield f"| {name} | {len(found)} | {strict:.0%} | {round_:.0%} |"
    strict, round_ = total.mean(axis=0)
    said = "refused in error" if wrong else "passed in error"
    yield f"| **{said}** | {len(total)} | **{strict:.1%}** | **{round_:.1%}** |"


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("seeds", nargs="?", type=int, default=1)
    parser.add_argument("--first", type=int, default=900_000)
    parser.add_argument("--objects", type=int, default=6, help="objects edited in each design")
    asked = parser.parse_args()
    rows: dict[str, list[list[bool]]] = {}
    for name, verdicts in tried(range(asked.first, asked.first + asked.seeds), asked.objects):
        rows.setdefault(name, []).append(verdicts)
    for title, edits, wrong in (("harmless", HARMLESS, True), ("harmful", HARMFUL, False)):
        print(f"| {title} edit | objects | refused, strict | refused, in a round |")
        print("|---|---|---|---|")
        print("\n".join(table(rows, edits, wrong)), end="\n\n")


if __name__ == "__main__":
    main()

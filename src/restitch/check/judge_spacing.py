"""Judge: is a satin or fill sewn too dense? One verdict for the finding and for the fix."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from restitch.fabrics.model import Profile
from restitch.geometry import Ladder, ladder_of
from restitch.geometry.small import median
from restitch.model import Kind, PlannedObject, Role

FAULT_SHARE = 0.80
"""Denser than this share of the target is a fault. Measured: sound columns read 0.85 and more."""
SOUND_SHARES = (0.85, 1.20)
"""Spacing within these shares of the fabric's is the file's own style."""
OWN_STYLE_CAP = 1.10
"""The file's own style opens the target to this share of the fabric's at most."""
STYLE_FROM = 1.04
"""Nearer than this share the fabric's own pitch is the target: what was laid at it reads so."""
DEAD_BAND = 0.05
"""A whole kind within this of the limit is decided for the file, all or none: rounding must not
decide object by object."""
SHARED_SHARE = 0.95
"""When the file as a whole is too dense, objects under this share of the target are opened."""
DOUBT_MM = {Kind.SATIN: 0.0, Kind.FILL: 0.08}
"""Doubt of a pitch told by one stroke; it falls with the root of the strokes, so that a few rows
must lie clearly closer than the limit to be at fault. In a fill two row levels, each rounded to the
file's 0.1 mm step (standard deviation 0.029), make a two-line pitch; the sides of a satin are
averaged over strokes before they are measured."""
LEAST_STROKES = 6
"""Fewer strokes tell no spacing."""
OPEN_FROM_MM = 0.6
"""Stitching at this spacing and wider is open on purpose."""


class SpacingVerdict(NamedTuple):
    """An over-dense object."""

    spacing_mm: float
    """Two-line pitch as sewn."""
    target_mm: float
    """Pitch it should have."""
    stitches: int
    """About how many stitches it has too many."""


def spacing_verdicts(plan: Sequence[PlannedObject], profile: Profile) -> dict[int, SpacingVerdict]:
    """Return the verdict on every over-dense satin and fill, by object id."""
    measured = {o.id: m for o in plan if (m := spacing_mm(o)) is not None}
    kinds = {o.id: o.kind for o in plan}
    found: dict[int, SpacingVerdict] = {}
    for kind, wanted in (
        (Kind.SATIN, profile.fabric.satin_spacing_mm),
        (Kind.FILL, profile.fabric.fill_spacing_mm),
    ):
        own = {i: m for i, m in measured.items() if kinds[i] is kind}
        target = _target(own, wanted)
        counts = {o.id: _top_stitches(o) for o in plan if o.id in own}
        for i in _too_dense(own, target, DOUBT_MM[kind]):
            spacing = own[i][0]
            spare = int(counts[i] * (1.0 - spacing / target))
            found[i] = SpacingVerdict(round(spacing, 3), round(target, 3), spare)
    return found


def spacing_mm(obj: PlannedObject) -> tuple[float, int] | None:
    """Two-line pitch of an object's visible stitching and the number of strokes that tell it."""
    if obj.kind is Kind.RUN or obj.open:
        return None
    rungs = [r for r in top_ladders(obj) if len(r) >= LEAST_STROKES]
    strokes = sum(map(len, rungs))
    if not strokes:
        return None
    pitch = [r.satin_spacing_mm if obj.kind is Kind.SATIN else r.fill_spacing_mm for r in rungs]
    mean = sum(p * len(r) for p, r in zip(pitch, rungs, strict=True)) / strokes
    return (mean, strokes) if mean < OPEN_FROM_MM else None


def top_ladders(obj: PlannedObject) -> list[Ladder]:
    """Regular ladders of the visible pieces."""
    found = [
        ladder_of(p) for p in obj.pieces if p.role is Role.TOP and p.layer == 0 and len(p.xy) > 3
    ]
    return [rungs for rungs in found if rungs.is_regular]


def _top_stitches(obj: PlannedObject) -> int:
    return sum(len(p.xy) for p in obj.pieces if p.role is Role.TOP and p.layer == 0)


def _target(own: Mapping[int, tuple[float, int]], wanted_mm: float) -> float:
    """The fabric's pitch, but not tighter than the file's own sound objects of the kind."""
    low, high = SOUND_SHARES
    sound = [s for s, _ in own.values() if low * wanted_mm <= s <= high * wanted_mm]
    style = median(sound) if sound else wanted_mm
    if style < STYLE_FROM * wanted_mm:
        return wanted_mm
    return min(style, OWN_STYLE_CAP * wanted_mm)


def _too_dense(
    own: Mapping[int, tuple[float, int]], target_mm: float, doubt_mm: float
) -> list[int]:
    """Ids of the objects at fault, also once the worst of them are opened to the target: the file
    put right must not be at fault by its own, new measure."""
    pitch, found = dict(own), set[int]()
    while True:
        limit = _limit(pitch, target_mm)
        more = {i for i, (p, strokes) in pitch.items() if p + doubt_mm / strokes**0.5 < limit}
        if not more:
            return [i for i in own if i in found]
        found |= more
        pitch |= {i: (target_mm, int(pitch[i][1] * pitch[i][0] / target_mm)) for i in more}


def _limit(own: Mapping[int, tuple[float, int]], target_mm: float) -> float:
    """Pitch below which an object is at fault."""
    if not own:
        return 0.0
    spacing, strokes = np.array(list(own.values())).T
    order = np.argsort(spacing)
    half = np.searchsorted(np.cumsum(strokes[order]), strokes.sum() / 2.0)
    share = float(spacing[order][half]) / target_mm
    if share < FAULT_SHARE - DEAD_BAND or share > FAULT_SHARE + DEAD_BAND:
        return FAULT_SHARE * target_mm
    return (
        SHARED_SHARE * target_mm
        if share <= FAULT_SHARE + DEAD_BAND / 2
        else ((FAULT_SHARE - DEAD_BAND) * target_mm)
    )

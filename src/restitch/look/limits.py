"""The guard's limits, in one place."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from restitch.look.compare import CompareSettings


@dataclass(frozen=True, slots=True)
class GuardLimits:
    """When a change to an object is withdrawn. Measured on edits of 200 objects (see module)."""

    compare: CompareSettings = field(default_factory=CompareSettings)
    lost_share: float = 0.01
    """Share of the object's visible area that may be lost (harmless edits: under 0.0005)."""
    square_mm2: float = 0.20
    """Area that may be lost, or won, inside one 1 mm square (harmless edits: 0.08)."""
    square: int = 10
    """Side of that square, pixels."""
    spot_mm2: float = 0.15
    """Smallest ground spot that is guarded (our choice: what the eye still finds) ..."""
    spot_core: int = 1
    """... which must keep a core when shrunk by this many pixels ..."""
    spot_kept: float = 0.5
    """... and must stay bare by at least this share (harmless edits keep it whole)."""
    moved_mm: float = 0.20
    """How far the centroid of the visible area may move (harmless edits: 0.09) ..."""
    moved_from_mm2: float = 1.0
    """... in objects of at least this area ..."""
    same_area: float = 0.10
    """... whose area stays the same within this share: else a neighbour uncovered or hid it."""
    thin: float = 0.03
    """How much less of the core thread may cover (harmless edits: 0.037)."""
    thin_threads: tuple[int, int] = (2, 3)
    """Thread widths for that, pixels: 0.2 mm as laid and 0.3 mm."""
    thin_floors: tuple[float, float] = (0.80, 0.97)
    """Cover at those widths that a sound object has; opening a denser one down to it is free."""
    layers: float = 3.0
    """Layers a fix may build up to (limit of PPknit for knitwear, PW16c) ..."""
    layers_slack: float = 0.25
    """... with the error of the measure (0.1 layer) and of percentiles (our choice)."""

    def for_spacing(self, spacing_mm: float) -> GuardLimits:
        """Return limits for a fabric whose spacing is wider than 0.40 mm: thread of width w at
        spacing s covers 2w/s - w2/s2 on average, and the floors fall by as much."""
        floors = tuple(
            floor + min(0.0, _mean_cover(width / 10, spacing_mm) - _mean_cover(width / 10, 0.40))
            for floor, width in zip(self.thin_floors, self.thin_threads, strict=True)
        )
        return replace(self, thin_floors=(floors[0], floors[1]))


def _mean_cover(thread_mm: float, spacing_mm: float) -> float:
    share = min(thread_mm / spacing_mm, 1.0)
    return 2 * share - share**2

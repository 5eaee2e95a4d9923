"""What a fabric asks of stitching, and what a shop's profile adds to it.

Every number comes from the packaged TOML tables, each with its source there; the classes only
give them names and units. Spacing is the trade's two-line pitch: same side to same side in a
satin, every second row in a fill.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from restitch.extensions import FIXES as ADDED_FIXES
from restitch.extensions import added

FIXES = ("stack", "spacing", "lengths", "underlay", "pull", "layering", "sequence", "links")
"""All fixes of our own, in the order they run."""


def known_fixes() -> tuple[str, ...]:
    """Return the names of all fixes: our own, then those that other packages add."""
    return (*FIXES, *(name for name in added(ADDED_FIXES) if name not in FIXES))


def default_fixes() -> frozenset[str]:
    """Return the fixes that run unless asked otherwise: all but ``pull``."""
    return frozenset(known_fixes()) - {"pull"}


@dataclass(frozen=True, slots=True)
class UnderlayRule:
    """Which underlay a column or fill gets, by its width."""

    centre_run_below_mm: float = 1.5
    zigzag_from_mm: float | None = 4.0
    """Columns at least this wide get a zigzag on top of the edge run; None: never."""
    double_zigzag: bool = False
    """The zigzag is sewn twice, the second pass opposed."""
    inset_mm: float = 0.6
    """How far inside the cover the underlay stays."""
    fill_crossing: bool = True
    """Fills get crossing rows besides their edge run."""
    mesh: bool = False
    """The fabric's table asks for a light mesh under open designs (reported, not laid)."""
    stitch_mm: float = 2.2
    """Stitch of centre runs, edge runs and zigzags."""
    fill_stitch_mm: float = 3.0
    """Stitch of the crossing rows under a fill."""
    crossing_angle_deg: float = 90.0
    """Between the crossing rows and the rows of the cover."""
    crossing_spacing_mm: float = 2.8
    """Row to row of the crossing rows (line pitch, not two-line)."""
    zigzag_spacing_mm: float = 3.6
    """Same side to same side of a zigzag (two-line pitch)."""


@dataclass(frozen=True, slots=True)
class PullRule:
    """Pull compensation: the total added to a width, as a share held between two limits."""

    share: float
    least_mm: float
    most_mm: float
    shorten_ends: bool = False
    """Column ends are drawn in by what the width gains (push out along the column)."""


@dataclass(frozen=True, slots=True)
class Fabric:
    """One row of the fabric table."""

    name: str
    title: str
    words: tuple[str, ...]
    """Everyday words that mean this fabric."""
    fill_spacing_mm: float
    satin_spacing_mm: float
    underlay: UnderlayRule
    pull: PullRule
    run_stitch_mm: float
    fill_stitch_mm: float
    layers: float
    """Warn above this many layers of thread (thread mm per mm2 / 5.0)."""
    topping: str
    backing: str
    needle: str
    speed_spm: float
    """Stitches a minute."""
    border_overlap_mm: float = 1.0
    """How far a border lies over the fill it edges."""
    lettering_min_mm: float = 5.0
    """Smallest capital that sews legibly in 40 weight thread."""
    stitches_max: int | None = None
    """Designs with more stitches pull on this fabric; None: no such figure."""
    field_mm: tuple[float, float] | None = None
    """Width x height that the garment itself takes (a cap's crown); None: only the hoop limits."""
    sources: Mapping[str, str] = field(default_factory=dict)
    """Source of each value, by its key in the table (``underlay.inset_mm`` and so on)."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Lengths, widths and gates the fixes and findings work with."""

    shortest_stitch_mm: float = 0.3
    """Stitches shorter than this cannot form and are merged."""
    safe_stitch_mm: float = 1.0
    """Shortest stitch that sews safely; shorter ones are reported."""
    longest_stitch_mm: float = 12.1
    satin_split_over_mm: float = 7.2
    satin_warn_over_mm: float = 7.0
    satin_warn_under_mm: float = 1.0
    fill_stitch_over_mm: float = 7.5
    pile_up: int = 4
    """More needle points than this in one hole are a pile-up."""
    trim_over_mm: float = 5.0
    """Jumps longer than this are trimmed."""
    join_under_mm: float = 1.0
    """Gaps up to this are sewn as one stitch."""
    layers: float | None = None
    """Layer limit; None takes the fabric's."""
    confidence: float = 0.5
    """Objects read with less confidence are left alone."""
    look: float = 0.985
    """Share of the visible thread that a whole fix must keep."""
    lettering_min_mm: float = 5.0


@dataclass(frozen=True, slots=True)
class Machine:
    """The machine a shop sews on."""

    speed_spm: float | None = None
    """Stitches a minute; None takes the fabric's."""
    trim_s: float = 7.0
    colour_change_s: float = 12.0
    stop_s: float = 12.0
    hoop_mm: tuple[float, float] | None = None
    """Sewing field, width x height."""
    needles: tuple[str, ...] = ()
    """Thread on each needle, by number from 1: a name, catalogue number or #rrggbb."""
    thread_wt: int = 40
    """Weight number of the needle thread (higher is finer)."""


@dataclass(frozen=True, slots=True)
class Weights:
    """What the sequencer pays, in millimetres of jump travel."""

    colour: float = 300.0
    trim: float = 20.0
    travel: float = 1.0


@dataclass(frozen=True, slots=True)
class OrderRules:
    """Soft wishes for the sewing order, each with its weight in millimetres of travel."""

    centre_out: float = 0.0
    bottom_up: float = 0.0
    area_by_area: float = 0.0


@dataclass(frozen=True, slots=True)
class Profile:
    """Everything a fix needs to know besides the file."""

    name: str
    fabric: Fabric
    fixes: frozenset[str] = field(default_factory=default_fixes)
    limits: Limits = Limits()
    machine: Machine = Machine()
    weights: Weights = Weights()
    order: OrderRules = OrderRules()
    pull_mm: float | None = None
    """A stated total to add to widths instead of the fabric's share, when ``pull`` runs."""
    kicks: int = 250
    """Stop rule of the order search."""
    sources: Mapping[str, str] = field(default_factory=dict)
    """Where each value that differs from the fabric's came from (file and line)."""

    @property
    def layers(self) -> float:
        """The layer limit in force."""
        return self.fabric.layers if self.limits.layers is None else self.limits.layers

    @property
    def speed_spm(self) -> float:
        """The machine speed in force, stitches a minute."""
        return self.fabric.speed_spm if self.machine.speed_spm is None else self.machine.speed_spm

    def compensation_mm(self, width_mm: float) -> float:
        """Total to add to a width: the stated amount, or the fabric's share within its limits."""
        if self.pull_mm is not None:
            return self.pull_mm
        rule = self.fabric.pull
        return min(max(rule.share * width_mm, rule.least_mm), rule.most_mm)

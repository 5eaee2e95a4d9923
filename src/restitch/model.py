"""The nouns every room of restitch shares: threads, streams, objects, plans, changes, findings.

Coordinates are the file's own integers (0.1 mm, y down) wherever stitches are concerned;
names that end in ``_mm`` are millimetres. Arrays are read-only once made.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int32]
ByteArray = NDArray[np.uint8]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

UNITS_PER_MM = 10
"""File units in a millimetre: every machine format counts in 0.1 mm."""


class Command(IntEnum):
    """Low byte of a record's command, numbered as pyembroidery numbers it."""

    STITCH = 0
    JUMP = 1
    TRIM = 2
    STOP = 3
    END = 4
    COLOR_CHANGE = 5
    SEQUIN_MODE = 6
    SEQUIN_EJECT = 7
    NEEDLE_SET = 9
    SLOW = 11
    FAST = 12


class Kind(StrEnum):
    """What an object is."""

    SATIN = "satin"
    FILL = "fill"
    RUN = "run"


class Role(StrEnum):
    """What a stretch of stitching is for."""

    TOP = "top"
    UNDERLAY = "underlay"
    TRAVEL = "travel"
    TIE = "tie"


class Link(StrEnum):
    """How the needle reaches the first point of a piece from the piece before it."""

    SEWN = "sewn"
    """Thread is laid: the first point is simply the next stitch."""
    JUMP = "jump"
    """The needle moves without sewing; the thread is not cut."""
    TRIM = "trim"
    """The thread is cut, then the needle moves."""
    STOP = "stop"
    """The machine halts for the operator (applique, placement); the thread may stay."""


def read_only(array: NDArray[Any]) -> NDArray[Any]:
    """Return the array with its write flag off, so that no pass can edit it in place."""
    array.flags.writeable = False
    return array


@dataclass(frozen=True, slots=True)
class Thread:
    """One thread as the file states it."""

    rgb: int
    """0xRRGGBB."""
    name: str = ""
    number: str = ""
    """Catalogue number."""
    brand: str = ""

    @property
    def hex(self) -> str:
        """The colour as ``#rrggbb``."""
        return f"#{self.rgb & 0xFFFFFF:06x}"


@dataclass(frozen=True, slots=True, eq=False)
class Stream:
    """A stitch file as it sews: one row for each record, in order.

    Record ``i`` here is record ``i`` of ``pyembroidery.read(path).stitches``.
    """

    xy: IntArray
    """(n, 2) needle or frame position, 0.1 mm, y down."""
    command: ByteArray
    """(n,) low byte of the command, see `Command`."""
    threads: tuple[Thread, ...]
    """Thread of each colour block, in sewing order (``len(threads) == block count``)."""
    format: str = ""
    """Lower-case extension the stream was read from, without the dot."""
    name: str = ""
    """Design name, or ``""``."""
    colours_known: bool = True
    """False where the format stores no colours: then threads are placeholders, one a block."""
    data: IntArray | None = None
    """(n,) the command's upper bits (needle numbers of NEEDLE_SET), or None if all are 0."""
    warnings: tuple[str, ...] = ()
    """What reading had to repair or guess, in plain words."""

    def __len__(self) -> int:
        return len(self.command)

    @property
    def stitch_index(self) -> NDArray[np.intp]:
        """(k,) record index of every STITCH record."""
        return np.flatnonzero(self.command == Command.STITCH)

    @property
    def block_of_record(self) -> IntArray:
        """(n,) colour block of each record; a change record already belongs to the new block.

        A NEEDLE_SET before the first stitch selects the first needle and opens no block.
        """
        change = np.isin(self.command, (Command.COLOR_CHANGE, Command.NEEDLE_SET))
        if len(change) and self.command[0] == Command.NEEDLE_SET:
            change[0] = False
        return np.cumsum(change, dtype=np.int32)


@dataclass(frozen=True, slots=True)
class Part:
    """A range of records ``[start, stop)`` of the source stream that plays one role."""

    role: Role
    start: int
    stop: int
    layer: int = 0
    """0 is the stitching meant to be seen; 1.. are surplus layers of the same thing."""


@dataclass(frozen=True, slots=True)
class SewnObject:
    """One thing a digitizer would have drawn, found again in the flat stream."""

    id: int
    """Position in sewing order, from 0."""
    kind: Kind
    block: int
    """Colour block in the source; its thread is ``stream.threads[block]``."""
    parts: tuple[Part, ...]
    """In record order; together they hold every STITCH record of the object once."""
    confidence: float = 1.0
    """0..1: how sure the reader is; fixes leave an object alone below the profile's limit."""
    open: bool = False
    """Low density on purpose (blend, cross-hatch, loose zigzag, lattice): never thickened."""
    copy_of: int | None = None
    """Id of the object that this one repeats (doubled), else None."""
    hidden: bool = False
    """No visible thread left under later stitching."""

    @property
    def start(self) -> int:
        """First record of the object."""
        return self.parts[0].start

    @property
    def stop(self) -> int:
        """One past the last record of the object."""
        return self.parts[-1].stop


AS_LAID_ANEW = -1
"""`Piece.source` of stitching that restitch laid itself."""


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """Unbroken stitching of one role: needle points sewn one after another."""

    role: Role
    xy: IntArray
    """(k, 2) needle points, 0.1 mm, in sewing order, k >= 1."""
    link: Link = Link.SEWN
    """How the needle reaches ``xy[0]`` from the piece (or object) before."""
    layer: int = 0
    source: int = AS_LAID_ANEW
    """Record index of ``xy[0]`` where the piece stands as found (points then follow one another
    in the source, forwards), else `AS_LAID_ANEW`."""


@dataclass(frozen=True, slots=True, eq=False)
class PlannedObject:
    """An object as it will be sewn: what the fixes and the sequencer pass on."""

    id: int
    """Id of the `SewnObject` it came from."""
    kind: Kind
    block: int
    """Colour block of the source; objects of one thread share `thread`."""
    thread: int
    """Thread class: blocks whose thread is known to be the same share it (else it is the block)."""
    pieces: tuple[Piece, ...]
    """In sewing order, ties and travel included."""
    first_record: int = 0
    """First record of the source object: the stable handle used in change ids."""
    confidence: float = 1.0
    open: bool = False
    marks: frozenset[str] = frozenset()
    """What has been changed so far: ``stack``, ``top``, ``underlay``, ``lengths``, ``entry``,
    ``exit``, ``order``. An object without marks is emitted record by record."""

    def points(self, *roles: Role) -> IntArray:
        """(k, 2) needle points of the given roles (all when none is given), in sewing order."""
        chosen = [p.xy for p in self.pieces if not roles or p.role in roles]
        return np.concatenate(chosen) if chosen else np.zeros((0, 2), np.int32)


class State(StrEnum):
    """What became of a proposed change."""

    APPLIED = "applied"
    VETOED = "vetoed"
    """The user's decisions file said no."""
    WITHDRAWN = "withdrawn"
    """The guard took it back: the look would have suffered."""


@dataclass(frozen=True, slots=True)
class Change:
    """One thing done to one object (or to the order), and why."""

    id: str
    """Stable on the same file: ``<fix>-<first record of the object>``; decisions refer to it."""
    fix: str
    """Name of the fix: stack, spacing, underlay, pull, lengths, layering, sequence, links."""
    cause: str
    """Name of the finding it answers."""
    reason: str
    """One sentence in the bench's words, with the figures that matter."""
    objects: tuple[int, ...] = ()
    """Ids of the objects concerned."""
    before: Mapping[str, float] = field(default_factory=dict)
    """Figures before (stitches, layers, spacing_mm ...)."""
    after: Mapping[str, float] = field(default_factory=dict)
    place_mm: tuple[float, float] | None = None
    """Centre of the spot, millimetres from the design's centre, x right, y down."""
    box_mm: tuple[float, float, float, float] | None = None
    """x0, y0, x1, y1 of the spot in millimetres from the design's centre."""
    state: State = State.APPLIED

    @property
    def stitches_saved(self) -> int:
        """Stitches fewer after the change (negative where it adds)."""
        return int(self.before.get("stitches", 0) - self.after.get("stitches", 0))


@dataclass(frozen=True, slots=True)
class Finding:
    """One cause of trouble at one place, with what it costs."""

    name: str
    """Name of the finding, e.g. ``stacked satin``."""
    severity: str
    """``fault`` (a fix acts on it), ``warning`` (no fix can cure it) or ``note``."""
    text: str
    """One sentence in the bench's words."""
    objects: tuple[int, ...] = ()
    place_mm: tuple[float, float] | None = None
    """Millimetres from the design's centre, x right, y down."""
    stitches: int = 0
    """Stitches it costs."""
    layers: float = 0.0
    """Layers over the limit."""
    minutes: float = 0.0
    """Machine minutes it costs."""
    fix: str | None = None
    """Name of the fix that cures it, or None."""


@dataclass(frozen=True, slots=True)
class LookKept:
    """How well the visible thread was kept; shares from 0 to 1, stack in thread layers."""

    kept: float
    bare: float
    """Share of the source's covered area left bare."""
    peak_before: float
    peak_after: float
    worst: float = 1.0
    """Share kept of the worst object."""
    worst_object: int | None = None
    layering_excepted: bool = False
    """True where a restored sewing order changed the picture on purpose (left out of `kept`)."""


@dataclass(frozen=True, slots=True)
class OrderFacts:
    """What is known about the sewing order found."""

    proved: bool = False
    """The order is proved shortest."""
    colour_changes_at_least: int | None = None
    """No order of these objects has fewer colour changes."""
    notes: tuple[str, ...] = ()

"""What each machine format can carry, and how it is written; one row a format.

Figures are those of pyembroidery 1.5.1, measured by writing and reading back.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, NamedTuple


class Format(NamedTuple):
    """One stitch file format."""

    extension: str
    largest_move: int
    """Largest move of one record on an axis, 0.1 mm."""
    bytes_per_stitch: int = 2
    """Smallest size of one record in the file."""
    colours: str = "none"
    """``exact`` RGB, nearest of a ``palette``, or ``none``."""
    thread_names: bool = False
    """Thread names, numbers and brands are stored."""
    name_letters: int = 0
    """Letters of the design name that are stored (0: none)."""
    most_colours: int = 400
    """Colour blocks (stops count where they need a thread entry) that read back right."""
    jump_is_trim: bool = False
    """Every jump but one at the very start reads back as trim and jump."""
    jump_sews: bool = False
    """A jump without a trim before it reads back as a sewn stitch."""
    jump_lands: bool = False
    """After start, trim, stop and change a jump must lead to the very first needle point."""
    trims_over: int | None = None
    """Trims are guessed on reading from jumps longer than this, 0.1 mm."""
    trim_after_jumps: int | None = None
    """Trims are guessed on reading from this many jump records in a row."""
    stops: str = "kept"
    """``kept``, read back as a colour ``change``, or ``lost``."""
    same_thread_change: str = "kept"
    """A change between equal threads: ``kept``, or read back as a ``stop``."""
    needles: int = 0
    """Needle numbers that are kept (0: the format knows colour changes only)."""
    speeds: bool = False
    """Slow and fast records are kept."""
    sequins: bool = False
    ascii_only: bool = True
    """Letters outside ASCII destroy the file."""
    text: bool = False
    """The writer writes text; records of every kind are kept as they are."""
    most_run: int | None = None
    """Stitches in one run before a count in the file overflows."""
    hoop_mm: float | None = None
    """Design size above which the hoop that the writer states is too small."""
    settings: Mapping[str, Any] = MappingProxyType({})
    """Arguments for the writer."""


_ROWS = (
    Format(
        "pes",
        2047,
        colours="exact",
        thread_names=True,
        name_letters=255,
        most_colours=255,
        jump_is_trim=True,
        jump_lands=True,
        same_thread_change="stop",
        most_run=65_535,
        hoop_mm=100.0,
        # Version 1, the default, knows 64 catalogue colours and no names.
        settings={"version": "6"},
    ),
    Format(
        "pec",
        2047,
        colours="palette",
        name_letters=8,
        most_colours=255,
        jump_is_trim=True,
        jump_lands=True,
        same_thread_change="stop",
    ),
    Format(
        "dst",
        121,
        bytes_per_stitch=3,
        name_letters=16,
        stops="change",
        trim_after_jumps=3,
        sequins=True,
    ),
    Format("exp", 127, jump_lands=True, stops="change"),
    Format(
        "jef",
        127,
        colours="palette",
        jump_lands=True,
        trims_over=30,
        hoop_mm=200.0,
        # The writer would store today's date; trims are not written by default.
        settings={"trims": True, "date": "20200101000000"},
    ),
    Format(
        "vp3",
        32_767,
        colours="exact",
        thread_names=True,
        jump_sews=True,
        stops="lost",
    ),
    # A move of exactly 124 reads back as a jump, hence 123.
    Format("xxx", 123, colours="exact", stops="change"),
    # Needle 15 is written as 1.
    Format("u01", 127, bytes_per_stitch=3, needles=14, speeds=True),
    Format(
        "tbf",
        127,
        bytes_per_stitch=3,
        colours="exact",
        name_letters=16,
        most_colours=201,
        needles=15,
    ),
    Format(
        "csv",
        1 << 20,
        bytes_per_stitch=10,
        colours="exact",
        thread_names=True,
        name_letters=255,
        needles=255,
        speeds=True,
        sequins=True,
        text=True,
    ),
    Format(
        "json",
        1 << 20,
        bytes_per_stitch=10,
        colours="exact",
        thread_names=True,
        name_letters=255,
        needles=255,
        speeds=True,
        sequins=True,
        ascii_only=False,
        text=True,
    ),
)

FORMATS: Mapping[str, Format] = {f.extension: f for f in _ROWS}
"""Formats that can be written: every one that holds needle points for a machine."""

READ_ONLY_BYTES: Mapping[str, int] = {"sew": 2, "shv": 2, "dsb": 3, "dsz": 3, "ksm": 3, "tap": 3}
"""Smallest size of one record in further formats whose reader does a bounded amount of work for
each byte (read in the source; measured by fuzzing)."""

CATALOGUE_UNKNOWN = ("jpx",)
"""Formats that state colours as numbers of a catalogue nobody has."""

COLOURS_ONLY = ("edr", "col", "inf")
"""Files of these formats hold thread colours and no stitches."""


def facts(extension: str) -> Format | None:
    """Return the facts of a format that can be written, else None."""
    return FORMATS.get(extension.lower().lstrip("."))

"""What each machine format can carry, and how it is written; one row a format.

Figures are those of pyembroidery 1.5.1, measured by writing and reading back.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Format:
    """One stitch file format."""

    extension: str
    largest_move: int
    """Largest move of one record on an axis, 0.1 mm."""
    colours: str = "none"
    """``exact`` RGB, nearest of a ``palette``, or ``none``."""
    thread_names: bool = False
    name_letters: int = 0
    """Letters of the design name that are stored (0: none)."""
    most_colours: int = 255
    jump_is_trim: bool = False
    """Every jump reads back as trim and jump."""
    jump_sews: bool = False
    """A jump without a trim before it reads back as a sewn stitch."""
    trims_over: int | None = None
    """Trims are guessed on reading from jumps longer than this, 0.1 mm."""
    stops: bool = True
    """Stops are kept apart from colour changes."""
    needles: int = 0
    """Needle numbers that are kept (0: colour changes only)."""
    bytes_per_stitch: int = 2
    text: bool = False
    """The writer writes text."""
    settings: Mapping[str, Any] = field(default_factory=dict)
    """Arguments for the writer."""


FORMATS: Mapping[str, Format] = {
    f.extension: f
    for f in (
        Format(
            "pes",
            2047,
            "exact",
            True,
            255,
            255,
            jump_is_trim=True,
            bytes_per_stitch=2,
            settings={"version": "6"},
        ),
        Format("pec", 2047, "palette", False, 8, 64, jump_is_trim=True),
        Format("dst", 121, name_letters=16, most_colours=400, stops=False, bytes_per_stitch=3),
        Format("exp", 127, most_colours=400, stops=False),
        Format(
            "jef",
            127,
            "palette",
            most_colours=400,
            trims_over=30,
            settings={"trims": True, "date": "20200101000000"},
        ),
        Format("vp3", 32767, "exact", True, 0, 400, jump_sews=True, stops=False),
        Format(
            "xxx",
            123,
            "exact",
            most_colours=400,
            stops=False,
            settings={"max_stitch": 123, "max_jump": 123},
        ),
        Format(
            "u01",
            127,
            most_colours=400,
            needles=14,
            bytes_per_stitch=3,
            settings={"needle_count": 15},
        ),
        Format(
            "tbf",
            127,
            "exact",
            name_letters=16,
            most_colours=201,
            needles=15,
            bytes_per_stitch=3,
            settings={"needle_count": 15},
        ),
        Format("csv", 1 << 20, "exact", True, 255, 400, bytes_per_stitch=12, text=False),
        Format("json", 1 << 20, "exact", True, 255, 400, bytes_per_stitch=20, text=True),
    )
}
"""Formats that can be written: every one that holds needle points for a machine."""


def facts(extension: str) -> Format | None:
    """Return the facts of a format that can be written, else None."""
    return FORMATS.get(extension.lower().lstrip("."))

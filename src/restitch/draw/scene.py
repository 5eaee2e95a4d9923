"""A drawing as plain shapes on a page, before anyone decides on PNG or SVG.

Page coordinates are pixels at single size, x right, y down. `Page` maps file points to them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from restitch.model import UNITS_PER_MM, FloatArray, IntArray, Stream

Rgb: TypeAlias = tuple[int, int, int]


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Open lines of one colour and width."""

    runs: tuple[FloatArray, ...]
    """Each (k, 2) page points."""
    rgb: Rgb
    width: float
    dashed: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """A filled polygon with an outline."""

    points: FloatArray
    fill: Rgb
    line: Rgb


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text; ``anchor`` is start, middle or end, ``y`` the middle of the letters."""

    x: float
    y: float
    text: str
    size: float
    rgb: Rgb
    anchor: str = "start"
    halo: Rgb | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Bitmap:
    """Pixels stretched over a rectangle of the page."""

    pixels: NDArray[np.uint8]
    """(rows, columns, 3)"""
    x: float
    y: float
    width: float
    height: float


Item: TypeAlias = Lines | Shape | Text | Bitmap


@dataclass(frozen=True, slots=True)
class Page:
    """Where a design lies on a page."""

    x0: float
    y0: float
    """File point (0.1 mm) at the left top corner of the page."""
    width: int
    height: int
    """Page size, pixels, the footer included."""
    footer: int
    """Pixels at the bottom kept for the key."""
    px_per_mm: float

    def place(self, xy: IntArray | FloatArray) -> FloatArray:
        """Return file points as page points."""
        placed: FloatArray = (np.asarray(xy, dtype=np.float64) - (self.x0, self.y0)) * (
            self.px_per_mm / UNITS_PER_MM
        )
        return placed


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A page and what is on it, bottom first."""

    page: Page
    ground: Rgb
    items: tuple[Item, ...]
    title: str
    """What the drawing shows, for those who cannot see it."""


@dataclass(frozen=True, slots=True)
class PageSettings:
    """Size and margins of a page (our choice throughout)."""

    longest_px: int = 1200
    """Longer side of the design's part of the page."""
    most_px_per_mm: float = 24.0
    """Small designs are not blown up beyond this."""
    margin_mm: float = 3.0
    footer_px: int = 56


def page_for(stream: Stream, settings: PageSettings | None = None, *, footer: bool = True) -> Page:
    """Return a page that holds the stream's stitches with a margin and, below, the key."""
    settings = settings or PageSettings()
    xy = stream.xy[stream.stitch_index]
    low, high = (xy.min(axis=0), xy.max(axis=0)) if len(xy) else (np.zeros(2), np.zeros(2))
    size_mm = (high - low) / UNITS_PER_MM + 2 * settings.margin_mm
    scale = min(settings.longest_px / float(size_mm.max()), settings.most_px_per_mm)
    foot = settings.footer_px if footer else 0
    return Page(
        x0=float(low[0]) - settings.margin_mm * UNITS_PER_MM,
        y0=float(low[1]) - settings.margin_mm * UNITS_PER_MM,
        width=int(np.ceil(size_mm[0] * scale)),
        height=int(np.ceil(size_mm[1] * scale)) + foot,
        footer=foot,
        px_per_mm=scale,
    )


def circle(x: float, y: float, radius: float, fill: Rgb, line: Rgb, corners: int = 24) -> Shape:
    """Return a circle, or with few corners a polygon that stands on a point."""
    angle = np.arange(corners) * (2 * np.pi / corners)
    points = np.stack([x + radius * np.sin(angle), y - radius * np.cos(angle)], axis=1)
    return Shape(points, fill, line)


_BARS_MM = (1, 2, 5, 10, 20, 50, 100, 200, 500)


def scale_bar(page: Page, ink: Rgb) -> list[Item]:
    """Return a bar of a round length in the left of the footer, with its length in words."""
    length_mm = max((mm for mm in _BARS_MM if mm * page.px_per_mm <= page.width * 0.2), default=1)
    x, y, end = 16.0, page.height - page.footer / 2, length_mm * page.px_per_mm
    bar = [(x, y - 5), (x, y + 5), (x, y), (x + end, y), (x + end, y - 5), (x + end, y + 5)]
    return [
        Lines((np.array(bar),), ink, 1.5),
        Text(x + end + 8, y, f"{length_mm} mm", 13, ink),
    ]


def runs_of(points: FloatArray, starts: Iterable[int]) -> tuple[FloatArray, ...]:
    """Return the points cut before each start, single points left out."""
    return tuple(run for run in np.split(points, list(starts)) if len(run) > 1)

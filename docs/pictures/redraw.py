"""Draw every picture of these pages: the same bytes on every run.

    python docs/pictures/redraw.py [NAME ...]

Each is a bundled design, before or after one fix, in one of restitch's own views. Pictures of the
report page come from a browser: `docs/pictures/pages.py`.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from closeup import Window, drawn, middle_of, objects_in

import restitch
from restitch.fabrics import default_profile
from restitch.model import Stream

HERE = Path(__file__).parent
FIXTURES = HERE.parents[1] / "fixtures"
WIDTH_PX = 480


@dataclass(frozen=True, slots=True)
class Shot:
    """One picture."""

    name: str
    design: str
    view: str
    at_mm: tuple[float, float, float, float] | None = None
    """Middle of the window from the design's centre, its width and height; None: all of it."""
    fabric: str = "twill"
    fixes: tuple[str, ...] = ()
    """Drawn after these fixes; as found where there are none."""
    width_px: int = WIDTH_PX
    alone: bool = False
    """Only the objects that lie wholly in the window."""


def pair(
    name: str,
    design: str,
    view: str,
    at_mm: tuple[float, float, float, float] | None,
    fabric: str,
    *fixes: str,
    width_px: int = WIDTH_PX,
    alone: bool = False,
) -> tuple[Shot, Shot]:
    """The same window before and after."""
    after = Shot(f"{name}-after", design, view, at_mm, fabric, fixes, width_px, alone)
    return replace(after, name=f"{name}-before", fixes=()), after


def both(name: str, design: str, at_mm: tuple[float, float, float, float]) -> tuple[Shot, Shot]:
    """The same window as thread and stitch by stitch."""
    return (
        Shot(f"{name}-look", design, "look", at_mm),
        Shot(f"{name}-stitches", design, "stitches", at_mm),
    )


SHOTS: tuple[Shot, ...] = (
    *both("read-satin", "kelp-wreath.dst", (3.5, -12.5, 15.0, 9.4)),
    *both("read-fill", "sail-day.jef", (-26.0, 1.0, 16.0, 10.0)),
    *both("read-underlay", "pennant.pes", (-14.0, -9.6, 16.0, 8.0)),
    *both("read-run", "line-sampler.pes", (0.0, 9.0, 36.0, 22.0)),
    *pair("stack", "rope-badge.pes", "stack", (-22.0, -11.0, 40.0, 28.0), "knit", "stack"),
    *pair("stack-look", "rope-badge.pes", "look", (-14.0, -2.0, 26.0, 16.0), "knit", "stack"),
    *pair("spacing", "town-shield.exp", "look", (-13.0, -20.0, 20.0, 12.0), "denim", "spacing"),
    *pair(
        "spacing-stack", "town-shield.exp", "stack", (-9.0, -20.0, 40.0, 26.0), "denim", "spacing"
    ),
    *pair("lengths-long", "pennant.pes", "look", (-20.0, -6.5, 22.0, 14.0), "twill", "lengths"),
    *pair(
        "lengths-short", "kelp-wreath.dst", "stitches", (10.0, -29.2, 7.0, 4.4), "twill", "lengths"
    ),
    *pair("underlay", "north-pier.vp3", "stitches", (-2.0, 33.6, 26.0, 11.0), "twill", "underlay"),
    *pair(
        "underlay-edge",
        "north-pier.vp3",
        "stitches",
        (13.0, -16.4, 22.0, 8.0),
        "twill",
        "underlay",
        alone=True,
    ),
    *pair("pull", "north-pier.vp3", "look", (-2.0, 33.6, 16.0, 10.0), "knit", "pull"),
    *pair("layering", "rope-badge.pes", "look", (-16.0, -23.6, 30.0, 14.0), "knit", "layering"),
    *pair("order", "rowing-club.pes", "order", None, "polo", "sequence", "links", width_px=640),
    *pair("links", "small-lines.u01", "stitches", (17.4, 13.8, 14.0, 9.0), "twill", "links"),
    Shot("objects-pennant", "pennant.pes", "objects", width_px=900),
)


@cache
def stream_of(design: str, fabric: str, fixes: tuple[str, ...]) -> Stream:
    """A bundled design, rescued by these fixes alone."""
    found = restitch.read(FIXTURES / design)
    if not fixes:
        return found
    profile = replace(default_profile(fabric), fixes=frozenset(fixes))
    return restitch.fix(found, profile=profile).result


def png_of(shot: Shot) -> bytes:
    """The picture's bytes."""
    stream = stream_of(shot.design, shot.fabric, shot.fixes)
    window = None
    if shot.at_mm is not None:
        x, y, width, height = shot.at_mm
        left, top = np.add(middle_of(stream_of(shot.design, shot.fabric, ())), (x, y))
        window = Window(left - width / 2, top - height / 2, width, height)
        stream = objects_in(stream, window) if shot.alone else stream
    layers = default_profile(shot.fabric).layers
    return drawn(stream, shot.view, window, layers, shot.width_px)


def main(names: list[str]) -> None:
    """Write the named pictures, or all."""
    for shot in SHOTS:
        if not names or any(shot.name.startswith(name) for name in names):
            (HERE / f"{shot.name}.png").write_bytes(png_of(shot))


if __name__ == "__main__":
    main(sys.argv[1:])

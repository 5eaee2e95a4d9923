"""The machine operator's worksheet: picture at true size, colours, fabric, thread."""

from __future__ import annotations

from typing import Any

import numpy as np

from restitch.model import UNITS_PER_MM, Stream
from restitch.plan import links_of
from restitch.report.model import Report

PICTURE_MM = (190.0, 108.0)
"""Room for the picture on a printed A4 page; larger designs are drawn smaller and say so."""


def sheet_rows(report: Report) -> list[tuple[str, str]]:
    """Return the facts of the job, in the order an operator asks for them."""
    fabric, machine, figures = report.profile.fabric, report.profile.machine, report.after
    hoop = f"{machine.hoop_mm[0]:g} x {machine.hoop_mm[1]:g} mm" if machine.hoop_mm else "-"
    return [
        ("Design", f"{figures['width_mm']:.1f} x {figures['height_mm']:.1f} mm"),
        ("Hoop field", hoop),
        ("Stitches", f"{figures['stitches']:,}"),
        ("Colour changes, trims", f"{figures['colour_changes']}, {figures['trims']}"),
        (
            "Machine time",
            f"about {figures['minutes']:.0f} min at {report.profile.speed_spm:.0f}/min",
        ),
        ("Needle thread, bobbin", f"{figures['needle_m']:.0f} m, {figures['bobbin_m']:.0f} m"),
        ("Fabric", fabric.title),
        ("Needle", fabric.needle),
        ("Backing", fabric.backing),
        ("Topping", fabric.topping),
    ]


def colour_rows(report: Report, stream: Stream) -> list[dict[str, Any]]:
    """Return one row for each colour block in sewing order."""
    rows = []
    for block, thread in zip(report.after["blocks"], stream.threads, strict=False):
        words = " ".join(w for w in (thread.brand, thread.number, thread.name) if w)
        rows.append(
            {
                "hex": thread.hex,
                "words": (words or thread.hex)
                + ("" if stream.colours_known else " (not in the file)"),
                "stitches": f"{block['stitches']:,}",
                "minutes": f"{block['minutes']:.1f}",
            }
        )
    return rows


def true_size_picture(stream: Stream) -> str:
    """Return SVG markup of the design at true size with its centre mark and a 100 mm bar."""
    points = stream.xy[stream.stitch_index]
    low, high = points.min(axis=0), points.max(axis=0)
    width, height = ((high - low) / UNITS_PER_MM + 1.0).tolist()
    scale = min(1.0, PICTURE_MM[0] / width, PICTURE_MM[1] / height)
    middle = (low + high) / 2
    left, top = low - UNITS_PER_MM // 2
    said = "true size" if scale == 1.0 else f"drawn at {scale:.0%} of its size"
    return (
        f'<svg width="{width * scale:.2f}mm" height="{height * scale:.2f}mm" '
        f'viewBox="{left} {top} {width * UNITS_PER_MM:.0f} {height * UNITS_PER_MM:.0f}" '
        f'role="img" aria-label="The design, {said}">'
        f"{_paths(stream)}{_centre_mark(float(middle[0]), float(middle[1]))}</svg>"
        f"<p>{said}; the cross marks the centre</p>"
        '<svg class="scale-bar" width="102mm" height="6mm" viewBox="-10 0 1020 60" role="img" '
        'aria-label="Scale bar of 100 mm"><path d="M0 10V40M1000 10V40M0 25H1000" fill="none" '
        'stroke="#111" stroke-width="4"/><text x="500" y="56" font-size="28" '
        'text-anchor="middle">100 mm: measure this bar on the print</text></svg>'
    )


def _centre_mark(x: float, y: float) -> str:
    return (
        f'<path d="M{x - 40:g} {y:g}H{x + 40:g}M{x:g} {y - 40:g}V{y + 40:g}" '
        'stroke="#fff" stroke-width="7"/>'
        f'<path d="M{x - 40:g} {y:g}H{x + 40:g}M{x:g} {y - 40:g}V{y + 40:g}" '
        'stroke="#111" stroke-width="3"/>'
    )


def _paths(stream: Stream) -> str:
    """One path for each colour block."""
    at = stream.stitch_index
    xy, block, moved = stream.xy[at], stream.block_of_record[at], links_of(stream) > 0
    moved[:1] = True
    parts = []
    for number, thread in enumerate(stream.threads):
        rows = np.flatnonzero(block == number)
        if not len(rows):
            continue
        lead = moved[rows]
        lead[0] = True
        step = np.diff(xy[rows], axis=0, prepend=xy[rows[:1]])
        words = [
            f"M{x} {y}" if new else f"l{dx} {dy}"
            for new, (x, y), (dx, dy) in zip(
                lead.tolist(), xy[rows].tolist(), step.tolist(), strict=True
            )
        ]
        parts.append(
            f'<path d="{"".join(words)}" fill="none" stroke="{thread.hex}" stroke-width="4" '
            'stroke-linejoin="round" stroke-linecap="round"/>'
        )
    return "".join(parts)

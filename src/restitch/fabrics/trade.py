"""The trade's conversions: thread counts, needle numbers, cloth between holes.

Tex is grams per 1,000 m, denier grams per 9,000 m, decitex grams per 10,000 m, Nm metres per
gram (Coats, Bulletin 05, "Thread numbering").
"""

from __future__ import annotations

import re

US_BASE, NM_BASE, NM_PER_US = 8, 60, 5
"""Needle US 8 is NM 60, each US number 5 more (Apparel Science, needle number system)."""
US_RANGE = (8, 18)
"""The rule holds below US 19."""
GROOVE_SHARE = 0.40
"""Thread fits the needle's groove up to this share of the blade (Schmetz dictionary)."""


def tex_of_denier(denier: float) -> float:
    """Return the tex of a denier count."""
    return denier / 9.0


def denier_of_tex(tex: float) -> float:
    """Return the denier of a tex count."""
    return tex * 9.0


def dtex_of_tex(tex: float) -> float:
    """Return the decitex of a tex count."""
    return tex * 10.0


def metric_count_of_tex(tex: float) -> float:
    """Return Nm, metres of thread in a gram."""
    return 1000.0 / tex


def needle_nm(us: int) -> int:
    """Return the NM number (blade diameter in 0.01 mm) of a US needle size below 19."""
    if not US_RANGE[0] <= us <= US_RANGE[1]:
        raise ValueError(f"US needle size {us} is outside {US_RANGE[0]} to {US_RANGE[1]}")
    return NM_BASE + NM_PER_US * (us - US_BASE)


def cloth_between_holes_mm(stitch_mm: float, nm: int) -> float:
    """Return how much cloth stays between two holes of one needle (negative: they meet)."""
    return stitch_mm - nm / 100.0


def thickest_thread_mm(nm: int) -> float:
    """Return the diameter of the thickest thread that runs in the groove of a needle."""
    return GROOVE_SHARE * nm / 100.0


def smallest_needle(text: str) -> int | None:
    """Return the smallest NM number in a needle recommendation such as ``75/11 to 80/12 sharp``."""
    found = [int(number) for number in re.findall(r"(\d{2,3})/\d{1,2}", text)]
    return min(found, default=None)

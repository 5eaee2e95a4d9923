"""Numbers of the sequencer; each has its home here."""

from __future__ import annotations

from typing import NamedTuple


class OrderSettings(NamedTuple):
    """Prices, lengths and gates of ordering and linking. Our choice, measured on invented designs
    with known order, unless a source is named."""

    hidden_stitch_mm: float = 2.5
    """A hidden way up to this is one stitch (trade rules 2.4: underlay stitches of 2 to 3 mm)."""
    travel_stitch_mm: float = 2.3
    """Stitch of longer hidden ways."""
    off_line_mm: float = 4.5
    """A spot may lie this far off the line that a hidden way follows."""
    travel_to_mm: float = 8.0
    """Longest straight hidden way, and the longest gap that one with bends bridges."""
    bend_to_mm: float = 12.0
    """Longest hidden way with bends."""
    travel_free_mm: float = 1.0
    """The first and last bit of a hidden way lies on the ends it joins ..."""
    travel_free_share: float = 0.4
    """... but at most this share of it each: the middle of a short way must be covered too."""
    over_own_mm: float = 3.0
    """A way may cross the object just sewn, of the same thread, for this much."""
    fill_inset_mm: float = 0.6
    """Ways under a fill keep this far inside its edge."""
    fill_entries: int = 12
    """Spots on its edge at which a fill may be entered under its own cover."""
    ring_starts: int = 7
    """Spots at which a ring may begin."""
    added_stitch_mm: float = 0.4
    """Price of a stitch that an option adds, as jump travel."""
    jump_mm: float = 4.0
    """Price of a jump beside its length: ties on both sides, a stop of the needle."""
    sewn_share: float = 0.3
    """Price of a sewn step, as share of its length."""
    hidden_share: float = 0.6
    """Price of a hidden way, as share of its length ..."""
    hidden_mm: float = 1.0
    """... and once."""
    save_alone: float = 0.30
    """A file with no other fault is put in a new order if a colour change is taken up without
    need, its joins are far or its objects scattered (see `JoinRules`), and then only if a colour
    change or this share of the jump price is saved."""
    save_along: float = 0.15
    """Share that is worth a new order where stitching changes anyway."""
    save_blocks: float = 0.2
    """Share of the jump price that is worth another order of colour blocks where only their place
    tells their threads. In well-digitized designs 0.03 is to be had, in scrambled ones 0.24 to
    0.4."""
    save_wishes: float = 0.5
    """Share of what the profile's wishes cost that is worth a new order."""
    changed_share: float = 0.01
    """Stitching changes anyway when fixes took or gave this share of the stitches ..."""
    changed_stitches: int = 40
    """... or this many in one object. Less is no reason to move other objects."""
    locked_share: float = 0.5
    """Where fewer of the thread ends at cuts are locked, short jumps get ties as well."""
    moved_mm: float = 0.5
    """Moves up to this are no jump (writers round positions)."""


ORDER = OrderSettings()
"""The settings in force."""

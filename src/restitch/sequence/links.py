"""How the needle gets from one object to the next: sewn, hidden, jumped or cut; and the price."""

from __future__ import annotations

from collections.abc import Sequence
from enum import IntEnum
from typing import NamedTuple

import numpy as np

from restitch.fabrics.model import Profile
from restitch.geometry import IndexArray
from restitch.model import BoolArray, FloatArray, IntArray
from restitch.sequence.cover import Cover
from restitch.sequence.settings import ORDER, OrderSettings

SAMPLE_MM = 0.2
"""A way is looked at this often: once a cell of the cover's grid."""


class Way(IntEnum):
    """How a link is made."""

    SEWN = 0
    HIDDEN = 1
    """Sewn under later stitching."""
    JUMP = 2
    TRIM = 3


class LinkRules(NamedTuple):
    """The lengths and prices of one file's links."""

    join_under_mm: float
    trim_over_mm: float
    trim: float
    """Price of a trim, as jump travel."""
    settings: OrderSettings = ORDER


def link_rules(profile: Profile, file_format: str, settings: OrderSettings = ORDER) -> LinkRules:
    """Return the rules for a file: some formats cut at every jump, whatever its length."""
    from restitch.files import facts

    known = facts(file_format)
    cuts_always = known is not None and (known.jump_is_trim or known.jump_sews)
    limits = profile.limits
    return LinkRules(
        join_under_mm=limits.join_under_mm,
        trim_over_mm=limits.join_under_mm if cuts_always else limits.trim_over_mm,
        trim=profile.weights.trim / max(profile.weights.travel, 1e-9),
        settings=settings,
    )


class Links(NamedTuple):
    """Every link from the exits of one object to the entries of the next."""

    way: IntArray
    """(exits, entries) number of the `Way`."""
    price: FloatArray
    """(exits, entries) as jump travel, mm."""
    length_mm: FloatArray
    """(exits, entries)"""


class Linker(NamedTuple):
    """Judges links in one sewing order."""

    rules: LinkRules
    cover: Cover
    last: IntArray
    """Place of the last object to cover each cell."""

    def chain(
        self,
        exits_mm: Sequence[FloatArray],
        entries_mm: Sequence[FloatArray],
        same_thread: Sequence[bool],
    ) -> list[Links]:
        """Return the links from each object to the next: the i-th leads to place i + 1.

        All are judged at once, one row after another.
        """
        if not exits_mm:
            return []
        exits, entries = (np.array([len(s) for s in spots]) for spots in (exits_mm, entries_mm))
        stop = np.cumsum(exits * entries)
        at = np.repeat(np.arange(len(stop)), exits * entries)
        exit_, entry = np.divmod(np.arange(stop[-1]) - (stop - exits * entries)[at], entries[at])
        begin = np.concatenate(exits_mm)[(np.cumsum(exits) - exits)[at] + exit_]
        end = np.concatenate(entries_mm)[(np.cumsum(entries) - entries)[at] + entry]
        way, price, length = self._links(begin, end, np.array(same_thread)[at], at + 1)
        shapes = zip(stop.tolist(), exits.tolist(), entries.tolist(), strict=True)
        spans = [(slice(k - m * n, k), (m, n)) for k, m, n in shapes]
        return [
            Links(way[s].reshape(shape), price[s].reshape(shape), length[s].reshape(shape))
            for s, shape in spans
        ]

    def _links(
        self, begin_mm: FloatArray, end_mm: FloatArray, same: BoolArray, place: IndexArray
    ) -> tuple[IntArray, FloatArray, FloatArray]:
        """(n,) way, price and length of links to the objects at ``place``."""
        rules, settings = self.rules, self.rules.settings
        gap = end_mm - begin_mm
        length = np.hypot(gap[:, 0], gap[:, 1])
        trimmed = length > rules.trim_over_mm
        jump = np.where(length > settings.moved_mm, settings.jump_mm, 0.0)
        way = np.where(trimmed, int(Way.TRIM), int(Way.JUMP)).astype(np.int32)
        price = length + jump + np.where(trimmed, rules.trim, 0.0)
        sewn = length <= rules.join_under_mm
        way[sewn] = Way.SEWN
        price[sewn] = settings.sewn_share * length[sewn]
        near = np.flatnonzero(same & ~sewn & (length <= settings.travel_to_mm))
        if len(near):
            under = near[self.hidden(begin_mm[near], end_mm[near], place[near])]
            way[under] = Way.HIDDEN
            price[under] = settings.hidden_share * length[under] + settings.hidden_mm
        way[~same] = Way.TRIM
        price[~same] = length[~same]
        return way, price, length

    def hidden(self, begin_mm: FloatArray, end_mm: FloatArray, place: IndexArray) -> BoolArray:
        """(n,) whether straight ways to the object at ``place`` (n,) lie under it or later cover.

        Ways may cross the object just sewn for a little: thread on its own colour.
        """
        settings = self.rules.settings
        length = np.hypot(*(end_mm - begin_mm).T)
        count = int(np.ceil(length.max() / SAMPLE_MM)) + 1
        share = np.linspace(0.0, 1.0, count)
        spots = begin_mm[:, None] + share[:, None] * (end_mm - begin_mm)[:, None]
        bit = np.minimum(settings.travel_free_mm, settings.travel_free_share * length)
        free = np.minimum(share, 1.0 - share) * length[:, None] <= bit[:, None]
        cover = self.last[self.cover.cells_of(spots)]
        own = (cover == place[:, None] - 1) & ~free
        own_mm = own.mean(axis=1) * length
        covered = ((cover >= place[:, None]) | own | free).all(axis=1)
        hidden: BoolArray = covered & (own_mm <= settings.over_own_mm)
        return hidden

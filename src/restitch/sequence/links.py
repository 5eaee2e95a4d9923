"""How the needle gets from one object to the next: sewn, hidden, jumped or cut; and the price."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

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


@dataclass(frozen=True, slots=True)
class LinkRules:
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


@dataclass(frozen=True, slots=True, eq=False)
class Links:
    """Every link from the exits of one object to the entries of the next."""

    way: IntArray
    """(exits, entries) number of the `Way`."""
    price: FloatArray
    """(exits, entries) as jump travel, mm."""
    length_mm: FloatArray
    """(exits, entries)"""


@dataclass(frozen=True, eq=False)
class Linker:
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
        """Return the links from each object to the next: the i-th leads to place i + 1."""
        found = [
            self._open_links(a, b, same)
            for a, b, same in zip(exits_mm, entries_mm, same_thread, strict=True)
        ]
        reach = self.rules.settings.travel_to_mm
        near = [
            np.nonzero((links.way >= Way.JUMP) & (links.length_mm <= reach))
            if same
            else (np.zeros(0, np.intp),) * 2
            for links, same in zip(found, same_thread, strict=True)
        ]
        count = [len(rows) for rows, _ in near]
        if sum(count):
            place = np.repeat(np.arange(1, len(found) + 1), count)
            begin = np.concatenate([a[rows] for a, (rows, _) in zip(exits_mm, near, strict=True)])
            end = np.concatenate([b[at] for b, (_, at) in zip(entries_mm, near, strict=True)])
            hidden = np.split(self.hidden(begin, end, place), np.cumsum(count)[:-1])
            for links, (rows, columns), under in zip(found, near, hidden, strict=True):
                self._hide(links, rows[under], columns[under])
        return found

    def _open_links(self, exits_mm: FloatArray, entries_mm: FloatArray, same: bool) -> Links:
        """Links as they are on open cloth."""
        rules, settings = self.rules, self.rules.settings
        gap = entries_mm[None, :, :] - exits_mm[:, None, :]
        length = np.hypot(gap[..., 0], gap[..., 1])
        if not same:
            return Links(np.full(length.shape, int(Way.TRIM), np.int32), length.copy(), length)
        trimmed = length > rules.trim_over_mm
        jump = np.where(length > settings.moved_mm, settings.jump_mm, 0.0)
        way = np.where(trimmed, int(Way.TRIM), int(Way.JUMP)).astype(np.int32)
        price = length + jump + np.where(trimmed, rules.trim, 0.0)
        near = length <= rules.join_under_mm
        way[near] = Way.SEWN
        price[near] = settings.sewn_share * length[near]
        return Links(way, price, length)

    def _hide(self, links: Links, rows: IndexArray, columns: IndexArray) -> None:
        """Sew the given links under their cover."""
        settings = self.rules.settings
        length = links.length_mm[rows, columns]
        links.way[rows, columns] = Way.HIDDEN
        links.price[rows, columns] = settings.hidden_share * length + settings.hidden_mm

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

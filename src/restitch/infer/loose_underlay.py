"""Underlay that a jump or trim parts from what covers it."""

from __future__ import annotations

from restitch.infer.cells import Coverage, inside
from restitch.infer.draft import Draft
from restitch.infer.settings import Settings
from restitch.model import BoolArray, IntArray, Kind


def join_loose_underlay(
    drafts: list[Draft],
    section: IntArray,
    tied: BoolArray,
    coverage: Coverage,
    settings: Settings,
) -> list[Draft]:
    """Give a run that the very next object covers to that object, as underlay.

    ``section`` (m,) counts the halts before each body point; a line sewn before a stop (placement,
    tack-down) stays what it is. So does one with ties of its own at both ends (``tied``, a row a
    chain) before a column that brings its own underlay.
    """
    joined: list[Draft] = []
    for draft in drafts:
        while joined and (
            not _stands_alone(joined[-1], draft, tied)
            and _lies_under(joined[-1], draft, section, coverage, settings)
        ):
            draft.pieces = joined.pop().pieces + draft.pieces
        joined.append(draft)
    return joined


def _stands_alone(run: Draft, cover: Draft, tied: BoolArray) -> bool:
    if cover.kind == Kind.FILL or not cover.dense or not tied[run.chain]:
        return False
    return 2 * (cover.dense[0].p0 - cover.p0) > run.p1 - run.p0


def _lies_under(
    run: Draft, cover: Draft, section: IntArray, coverage: Coverage, settings: Settings
) -> bool:
    if run.dense or run.open or not cover.dense or run.p1 != cover.p0:
        return False
    if section[run.p0] != section[cover.p0]:
        return False
    # under a fill a line of its own would serve nothing; under a satin edge it may be placement
    if cover.kind != Kind.FILL and run.p1 - run.p0 > settings.loose_points:
        return False
    own = coverage.of_all([p for p in run.pieces if p.strokes])
    if not len(own):
        return False
    covered = inside(own, coverage.of_all(cover.dense))
    return float(covered.mean()) > settings.loose_covered

"""How sure the reader is of an object: a number that means what it says."""

from __future__ import annotations

import numpy as np

from restitch.infer.draft import Draft
from restitch.infer.kinds import Votes
from restitch.infer.label import Labels
from restitch.infer.settings import Settings
from restitch.infer.strokes import Strokes
from restitch.model import FloatArray, Kind

FULL_MARGIN = 5.0
"""A label with this margin is beyond doubt: the cap of a link."""


def rate(
    drafts: list[Draft], strokes: Strokes, labels: Labels, votes: Votes, settings: Settings
) -> None:
    """Write each draft's confidence: the share of objects with its signs that are read right.

    Right means: kind true, nearly all stitches of one thing, and their roles true.
    """
    weights = np.array(
        [
            settings.sure_base,
            settings.sure_margin,
            settings.sure_doubt,
            settings.sure_few,
            settings.sure_kind,
            settings.sure_thin,
            settings.sure_mixed,
            settings.sure_run,
        ]
    )
    for draft in drafts:
        odds = float(signs(draft, strokes, labels, votes, settings) @ weights)
        draft.confidence = float(1 / (1 + np.exp(-odds)))


def signs(
    draft: Draft, strokes: Strokes, labels: Labels, votes: Votes, settings: Settings
) -> FloatArray:
    """(8,) what speaks for and against a draft, in the order of the settings."""
    top = [p for p in draft.top if p.strokes]
    if not top:
        return np.array([1.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0])
    margin = np.concatenate([labels.margin[p.s0 : p.s1] for p in top])
    length = np.concatenate([np.hypot(*strokes.chord[p.s0 : p.s1].T) for p in top])
    is_run = draft.kind == Kind.RUN
    fill = draft.kind == Kind.FILL
    clear = abs(votes.share(top, settings) - settings.fill_share) / 0.5
    return np.array(
        [
            1.0,
            float(np.minimum(margin / FULL_MARGIN, 1.0).mean()),
            float(np.mean(margin < settings.doubt_margin)),
            0.0 if is_run else max(0.0, 1.0 - len(margin) / settings.few_strokes),
            0.0 if is_run else min(clear, 1.0),
            0.0 if is_run else float(np.median(length) < settings.thin_mm),
            0.0 if is_run else min(votes.against(top, fill) / settings.many_against, 1.0),
            float(is_run),
        ]
    )

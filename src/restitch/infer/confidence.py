"""How sure the reader is of an object: a number that means what it says.

Signs of each object are weighed to log-odds; a monotone table, made from designs that neither the
reader nor the weights were tuned on, says how often objects with such odds were read right
(``benchmarks/confidence.py`` makes it and checks it).
"""

from __future__ import annotations

import numpy as np

from restitch.infer.draft import Draft
from restitch.infer.kinds import Votes
from restitch.infer.label import Labels
from restitch.infer.settings import Settings
from restitch.infer.strokes import Strokes
from restitch.model import BoolArray, FloatArray, Kind

FULL_MARGIN = 5.0
"""A label with this margin is beyond doubt: the cap of a link."""


def rate(
    drafts: list[Draft], strokes: Strokes, labels: Labels, votes: Votes, settings: Settings
) -> None:
    """Write each draft's confidence: the share of objects with its signs that are read right.

    Right means: kind true, nearly all stitches of one thing, and their roles true.
    """
    if not drafts:
        return
    odds = signs(drafts, strokes, labels, votes, settings) @ np.array(settings.sure_weights)
    sure = 1 / (1 + np.exp(-odds))
    if settings.sure_table:
        raw, right = np.array(settings.sure_table).T
        sure = np.interp(sure, raw, right)
    for draft, share in zip(drafts, sure.tolist(), strict=True):
        draft.confidence = share


def signs(
    drafts: list[Draft], strokes: Strokes, labels: Labels, votes: Votes, settings: Settings
) -> FloatArray:
    """(d, 8) what speaks for and against each draft, in the order of ``sure_weights``."""
    margin = _running(np.minimum(labels.margin / FULL_MARGIN, 1.0))
    doubt = _running(labels.margin < settings.doubt_margin)
    vote = np.diff(votes.fill)
    to_fill, to_satin = _running(vote > 0), _running(vote < 0)
    length = _running(np.hypot(*strokes.chord.T))
    table = np.zeros((len(drafts), len(settings.sure_weights)))
    for row, draft in zip(table, drafts, strict=True):
        top = [p for p in draft.top if p.strokes]
        count = sum(p.strokes for p in top)
        is_run = draft.kind == Kind.RUN
        row[:2] = 1.0, float(is_run)
        if not top:
            continue
        share = {
            name: sum(float(total[p.s1] - total[p.s0]) for p in top) / count
            for name, total in (("margin", margin), ("doubt", doubt), ("length", length))
        }
        row[2:4] = share["margin"], share["doubt"]
        if is_run:
            continue
        other = to_satin if draft.kind == Kind.FILL else to_fill
        against = sum(float(other[p.s1] - other[p.s0]) for p in top) / count
        clear = abs(votes.share(top, settings) - settings.fill_share) / 0.5
        row[4] = max(0.0, 1.0 - count / settings.few_strokes)
        row[5] = min(clear, 1.0)
        row[6] = min(against / settings.many_against, 1.0)
        row[7] = float(share["length"] < settings.thin_mm)
    return table


def _running(value: FloatArray | BoolArray) -> FloatArray:
    """(s + 1,) running sum, 0 first: any range of strokes is summed in one step."""
    return np.concatenate([[0.0], np.cumsum(value)])

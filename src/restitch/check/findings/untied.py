"""Missing ties: starts and ends of thread that nothing holds."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from restitch.check.survey import FAULT, JUMP, NO_OBJECT, TRIM, Survey
from restitch.measure import MeasureSettings
from restitch.model import Finding

NAME = "missing tie"


def find(survey: Survey) -> Iterator[Finding]:
    """Yield one finding for each object with a start or end of thread that is not locked."""
    starts, ends = loose_ends(survey, MeasureSettings())
    owners = survey.owner[np.concatenate([starts, ends])]
    for obj in dict.fromkeys(np.sort(owners).tolist()):
        begun, ended = starts[survey.owner[starts] == obj], ends[survey.owner[ends] == obj]
        what = " and ".join(
            _count(len(places), word)
            for places, word in ((begun, "start"), (ended, "end"))
            if len(places)
        )
        yield survey.finding(
            NAME,
            FAULT,
            f"{what} of thread without a tie: it can pull out in the wash.",
            objects=() if obj == NO_OBJECT else (obj,),
            at=survey.xy[np.concatenate([begun, ended])],
            fix="links",
        )


def loose_ends(
    survey: Survey, settings: MeasureSettings
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the needle points where a thread starts, and where one ends, without a lock.

    A thread ends at every trim, stop and colour change, and at jumps so long that they are to be
    trimmed. A lock is ``tie_stitches`` short stitches among the ``tie_window`` next to the cut.
    """
    count = len(survey.xy)
    if count < 2:
        return np.zeros(0, np.intp), np.zeros(0, np.intp)
    short = survey.sewn & (survey.step_mm <= settings.tie_stitch_mm)
    up_to = np.cumsum(short)
    long_jump = (survey.link == JUMP) & (survey.step_mm > survey.profile.limits.trim_over_mm)
    cut = (survey.link >= TRIM) | long_jump
    cut[0] = False
    starts = np.append(0, np.flatnonzero(cut))
    ends = np.append(np.flatnonzero(cut) - 1, count - 1)
    after = up_to[np.minimum(starts + settings.tie_window, count - 1)] - up_to[starts]
    before = up_to[ends] - up_to[np.maximum(ends - settings.tie_window, 0)]
    return starts[after < settings.tie_stitches], ends[before < settings.tie_stitches]


def _count(number: int, word: str) -> str:
    return f"1 {word}" if number == 1 else f"{number} {word}s"

"""Lettering under the smallest height that its thread and fabric sew legibly."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from restitch.check.survey import WARNING, Survey
from restitch.model import UNITS_PER_MM, Finding, FloatArray, IntArray, Kind, Role

NAME = "lettering too small"


class LetteringRules(NamedTuple):
    """How a row of letters is told from other small parts. All figures are our choice."""

    tallest_mm: float = 12.0
    """Larger letters are never too small."""
    joined_mm: float = 0.3
    """Strokes of one thread nearer than this make one letter."""
    letters: int = 3
    """Fewer alike in a row are no lettering."""
    height_ratio: float = 1.7
    """Letters of a row differ in height by less than this factor (capitals and small ones) ..."""
    gap_heights: float = 1.2
    """... and stand no farther apart than this many heights ..."""
    lap_heights: float = 0.3
    """... nor lap by more than this ..."""
    level_heights: float = 0.35
    """... on one level, to this share of the height."""


class _Letter(NamedTuple):
    """Strokes of one thread that touch, sewn one after another."""

    ids: tuple[int, ...]
    low_mm: FloatArray
    high_mm: FloatArray
    is_column: bool

    @property
    def height_mm(self) -> float:
        return float(self.high_mm[1] - self.low_mm[1])

    @property
    def middle_mm(self) -> FloatArray:
        middle: FloatArray = (self.low_mm + self.high_mm) / 2.0
        return middle


def find(survey: Survey) -> Iterator[Finding]:
    """Yield a warning for each row of letters under the profile's smallest height.

    Rows are read as they are sewn, upright in the design; the tallest letter of a row tells its
    height. Runs alone may be smaller than columns.
    """
    limits, rules = survey.profile.limits, LetteringRules()
    weight = survey.profile.machine.thread_wt
    for row in letter_rows(survey, rules):
        columns = any(letter.is_column for letter in row)
        least = limits.lettering_min_mm * (1.0 if columns else RUN_SHARE)
        height = max(letter.height_mm for letter in row)
        if height >= least - SLACK_MM:
            continue
        ids = [id_ for letter in row for id_ in letter.ids]
        yield survey.finding(
            NAME,
            WARNING,
            f"A row of {len(row)} small letters is {height:.1f} mm high; {weight} weight thread on "
            f"{survey.profile.fabric.name} needs {least:g} mm.",
            objects=ids,
            at=_points(survey, ids),
        )


RUN_SHARE = 0.6
"""Single-line letters hold to about 3 mm where columns need 5 (Graphics Pro, Campbell)."""
SLACK_MM = 0.15
"""Rounding of both edges to the file's 0.1 mm, and a thread's give."""


def letter_rows(survey: Survey, rules: LetteringRules) -> list[list[_Letter]]:
    """Return the rows of letters of a design, each in sewing order."""
    rows: list[list[_Letter]] = []
    row: list[_Letter] = []
    thread = None
    for thread_now, letter in _letters(survey, rules):
        if row and thread_now == thread and _goes_on(row, letter, rules):
            row.append(letter)
            continue
        rows.append(row)
        row, thread = [letter], thread_now
    rows.append(row)
    return [r for r in rows if len(r) >= rules.letters]


def _letters(survey: Survey, rules: LetteringRules) -> Iterator[tuple[int, _Letter]]:
    """Thread and letter of each group of touching small strokes, in sewing order."""
    group: list[int] = []
    box = np.zeros((2, 2))
    thread = column = None
    for obj in survey.visible:
        points = obj.points(Role.TOP)
        if obj.kind is Kind.FILL or not len(points):
            continue
        low, high = points.min(axis=0) / UNITS_PER_MM, points.max(axis=0) / UNITS_PER_MM
        joined = (
            bool(group)
            and obj.thread == thread
            and bool((low <= box[1] + rules.joined_mm).all())
            and bool((high >= box[0] - rules.joined_mm).all())
        )
        if group and not joined:
            yield from _letter(thread, group, box, bool(column), rules)
            group, column = [], False
        if not joined:
            box = np.array([low, high])
        group.append(obj.id)
        column = bool(column) or obj.kind is Kind.SATIN
        thread = obj.thread
        box = np.array([np.minimum(box[0], low), np.maximum(box[1], high)])
    if group:
        yield from _letter(thread, group, box, bool(column), rules)


def _letter(
    thread: int | None,
    ids: Sequence[int],
    box: NDArray[np.float64],
    is_column: bool,
    rules: LetteringRules,
) -> Iterator[tuple[int, _Letter]]:
    letter = _Letter(tuple(ids), box[0], box[1], is_column)
    size = max(letter.height_mm, float(box[1, 0] - box[0, 0]))
    if thread is not None and letter.height_mm > 0.5 and size <= 2 * rules.tallest_mm:
        yield thread, letter


def _goes_on(row: Sequence[_Letter], letter: _Letter, rules: LetteringRules) -> bool:
    """Whether the letter stands beside the last one of the row, alike and on its level."""
    last = row[-1]
    height = max(last.height_mm, letter.height_mm)
    if height > rules.tallest_mm or height > rules.height_ratio * min(
        last.height_mm, letter.height_mm
    ):
        return False
    gap = max(letter.low_mm[0] - last.high_mm[0], last.low_mm[0] - letter.high_mm[0])
    apart = abs(float(letter.middle_mm[1] - last.middle_mm[1]))
    return bool(
        -rules.lap_heights * height <= gap <= rules.gap_heights * height
        and apart <= rules.level_heights * height
    )


def _points(survey: Survey, ids: Sequence[int]) -> IntArray:
    return np.concatenate([survey.planned[id_].points(Role.TOP) for id_ in ids])

"""Strokes: stretches of sewing between two turns back."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from restitch.infer.needles import IndexArray, Needles
from restitch.infer.settings import Settings
from restitch.model import BoolArray, FloatArray


@dataclass(frozen=True, eq=False)
class Strokes:
    """One row for each stroke, in sewing order; ``v`` counts body points, not needle points."""

    point: IndexArray
    """(m,) needle point of each body point."""
    xy_mm: FloatArray
    """(m, 2) body points."""
    v0: IndexArray
    """(s,) body point a stroke starts at."""
    v1: IndexArray
    """(s,) body point it ends at."""
    chain: IndexArray
    """(s,) chain."""
    path_mm: FloatArray
    """(s,) length along the needle points."""
    back: BoolArray
    """(m,) two successive points fell into the holes of two before: sewn over again."""

    def __len__(self) -> int:
        return len(self.v0)

    @cached_property
    def start_mm(self) -> FloatArray:
        """(s, 2) where each stroke starts."""
        return self.xy_mm[self.v0]

    @cached_property
    def end_mm(self) -> FloatArray:
        """(s, 2) where each stroke ends."""
        return self.xy_mm[self.v1]

    @cached_property
    def chord(self) -> FloatArray:
        """(s, 2) from start to end."""
        return self.end_mm - self.start_mm

    @cached_property
    def middle(self) -> FloatArray:
        """(s, 2) halfway between the ends."""
        return (self.end_mm + self.start_mm) / 2

    @cached_property
    def start_step_mm(self) -> FloatArray:
        """(s - 2,) from each start to the one two strokes on, across or down, the longer way."""
        across, down = np.abs(self.start_mm[2:] - self.start_mm[:-2]).T
        way: FloatArray = np.maximum(across, down)
        return way

    @cached_property
    def count(self) -> IndexArray:
        """(s,) stitches."""
        return self.v1 - self.v0


def find_strokes(needles: Needles, point: IndexArray, settings: Settings) -> Strokes:
    """Cut the body of every chain into strokes.

    A stroke ends at a sharp turn, at each tooth of a sawtooth, and at both ends of an edge step;
    the step itself belongs to no stroke.
    """
    xy = needles.xy_mm[point]
    chain = needles.chain[point]
    sewn = chain[1:] == chain[:-1]
    way = np.diff(xy, axis=0)
    length = np.hypot(*way.T)
    turn = _turns(way, sewn)
    step = _edge_steps(way, length, sewn, turn, settings)
    in_stroke = sewn & ~step
    breaks = _breaks(turn, settings)
    starts = in_stroke.copy()
    starts[1:] &= ~in_stroke[:-1] | breaks[1:-1]
    segment = np.flatnonzero(in_stroke)
    first = np.flatnonzero(starts[segment])
    v0 = segment[first]
    v1 = segment[np.append(first[1:], len(segment)) - 1] + 1 if len(segment) else v0
    along = np.concatenate([[0.0], np.cumsum(length)])
    over = _sewn_over(xy, chain, settings)
    return Strokes(point, xy, v0, v1, chain[v0], along[v1] - along[v0], over)


def _turns(way: FloatArray, sewn: BoolArray) -> FloatArray:
    """(m,) signed turn at each body point in degrees; 0 at chain ends."""
    turn = np.zeros(len(way) + 1)
    if len(way) > 1:
        a, b = way[:-1], way[1:]
        cross = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        both = sewn[:-1] & sewn[1:]
        turn[1:-1] = np.where(both, np.degrees(np.arctan2(cross, (a * b).sum(axis=1))), 0.0)
    return turn


def _breaks(turn: FloatArray, settings: Settings) -> BoolArray:
    """(m,) body points at which a stroke ends because the thread turns back."""
    breaks = np.abs(turn) > settings.turn_deg
    tooth = np.where(np.abs(turn) > settings.sawtooth_deg, np.sign(turn), 0.0)
    if len(turn) > 2:
        alternates = (tooth[:-2] * tooth[1:-1] < 0) & (tooth[1:-1] * tooth[2:] < 0)
        breaks[1:-1] |= alternates
    return breaks


def _edge_steps(
    way: FloatArray, length: FloatArray, sewn: BoolArray, turn: FloatArray, settings: Settings
) -> BoolArray:
    """(m - 1,) segments that only lead from one row to the next."""
    step = np.zeros(len(way), bool)
    if len(way) < 3:
        return step
    a, b = way[:-2], way[2:]
    la, mid, lb = length[:-2], length[1:-1], length[2:]
    cosine = (a * b).sum(axis=1) / np.maximum(la * lb, 1e-9)
    inside = sewn[:-2] & sewn[1:-1] & sewn[2:]
    short = (
        (mid < settings.step_mm)
        & (mid * settings.step_ratio < np.minimum(la, lb))
        & (cosine < settings.step_cosine)
    )
    ta, tb = turn[1:-2], turn[2:-1]
    bend = (ta * tb > 0) & (np.minimum(np.abs(ta), np.abs(tb)) > settings.long_step_deg)
    long = (mid <= settings.long_step_mm) & bend & (cosine < settings.long_step_cosine)
    step[1:-1] = inside & (short | long)
    # of two steps in a row the first counts
    step[1:] &= ~step[:-1]
    return step


def _sewn_over(xy: FloatArray, chain: IndexArray, settings: Settings) -> BoolArray:
    """(m,) the point and the next both lie in the hole two stitches before.

    A bean stitch also counts where holes are met only nearly, as in a file that was scaled: it
    goes on by about a stitch after each return, a column by no more than its spacing.
    """
    back = np.zeros(len(xy), bool)
    if len(xy) < 5:
        return back
    apart = np.abs(xy[2:] - xy[:-2]).max(axis=1)
    same = (apart < settings.hole_mm) & (chain[2:] == chain[:-2])
    back[2:-1] = same[:-1] & same[1:]
    near = (apart < settings.near_hole_mm) & (chain[2:] == chain[:-2])
    stitch = np.abs(xy[1:] - xy[:-1]).max(axis=1)[:-3]
    least = np.maximum(settings.bean_stitch_mm, settings.bean_ahead * stitch)
    bean = near[:-2] & near[1:-1] & (apart[2:] > least) & (stitch > settings.bean_stitch_mm)
    # every third point, and at least twice
    again = np.zeros(len(bean) + 6, bool)
    again[:-6] |= bean
    again[6:] |= bean
    bean &= again[3:-3]
    back[2:-2] |= bean
    back[1:-3] |= bean
    return back

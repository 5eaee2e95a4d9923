"""The guard and the comparison: what must pass, what must not, stack against worked examples."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.look import agreement, cover, frame_around, gap, judge, paint, stack_height
from restitch.look.cover import mark_squares, no_squares, threads_passing
from restitch.model import Command, Stream, Thread


def column(length_mm: float, width_mm: float, spacing_mm: float, x_mm: float = 0.0) -> np.ndarray:
    """Needle points of a bare satin column along y, in 0.1 mm."""
    count = round(2 * length_mm / spacing_mm)
    y = np.arange(count) * spacing_mm / 2
    x = np.where(np.arange(count) % 2 == 0, 0.0, width_mm) + x_mm
    return np.round(np.stack([x, y], axis=1) * 10).astype(np.int32)


def stream_of(*parts: np.ndarray, threads: int = 1) -> Stream:
    """Parts one after another, a jump before each."""
    xy, command = [], []
    for part in parts:
        xy += [part[:1], part]
        command += [int(Command.JUMP)] + [int(Command.STITCH)] * len(part)
    every = tuple(Thread(0x203040 + 0x404040 * n) for n in range(threads))
    return Stream(np.concatenate(xy), np.array(command, np.uint8), every)


def owners(*parts: np.ndarray) -> np.ndarray:
    """Object number of every record of `stream_of`."""
    return np.concatenate([np.full(len(p) + 1, n, np.int32) for n, p in enumerate(parts)])


def pictures(before: list[np.ndarray], after: list[np.ndarray]):
    one, two = stream_of(*before), stream_of(*after)
    frame = frame_around(one, two)
    return (
        paint(one, owners(*before), (0,), frame),
        paint(two, owners(*after), (0,), frame),
    )


def failing(before, after) -> set[int]:
    return {v.object for v in judge(*pictures(before, after)) if not v.kept}


def test_the_same_design_keeps_everything():
    part = column(20, 3, 0.4)
    before, after = pictures([part], [part])
    assert agreement(before, after) == 1.0
    assert gap(before, after) == 0.0
    assert cover(before, after)[0] == 1.0
    assert failing([part], [part]) == set()


def test_sewn_from_the_other_end_is_the_same_look():
    part = column(20, 3, 0.4)
    assert failing([part], [part[::-1].copy()]) == set()


@pytest.mark.parametrize(
    "harm",
    [
        lambda p: p[: int(len(p) * 0.7)],
        lambda p: p + np.array([5, 0], np.int32),
        lambda p: column(20, 2.4, 0.4),
        lambda p: column(20, 3, 0.8),
    ],
    ids=["last third cut", "shifted 0.5 mm", "narrowed", "opened to 0.8 mm"],
)
def test_harm_is_seen(harm):
    part = column(20, 3, 0.4)
    assert failing([part], [harm(part)]) == {0}


def test_a_dropped_object_is_seen_and_others_are_not_blamed():
    left, right = column(15, 3, 0.4), column(15, 3, 0.4, x_mm=8)
    assert failing([left, right], [left, right[:2]]) == {1}


@settings(max_examples=15, deadline=None)
@given(st.floats(10, 30), st.floats(1.5, 6), st.floats(0.36, 0.44))
def test_rounding_of_a_step_is_no_harm(length, width, spacing):
    part = column(length, width, spacing)
    nudge = np.random.default_rng(7).integers(-1, 2, part.shape).astype(np.int32)
    before, after = pictures([part], [part + nudge])
    assert agreement(before, after) > 0.99


def test_stack_of_coincident_satins_is_their_number():
    """Trade rules E29: three coincident satins at 0.40 mm are 3.0 layers, four are 4.0 (derived
    there from 5.0 mm of thread a mm2, Campbell's density article)."""
    for layers in (1, 2, 3, 4):
        part = column(30, 5, 0.4)
        stream = stream_of(*[part] * layers)
        stack = stack_height(stream, frame_around(stream)).layers
        inside = stack[20:-20, 15:-15]
        assert float(np.median(inside[inside > 0.2])) == pytest.approx(layers, rel=0.06)


def test_layers_do_not_depend_on_where_the_design_lies():
    part = column(30, 5, 0.4)
    here = stream_of(part)
    there = stream_of(part + np.array([1234, -777], np.int32))
    peaks = [float(stack_height(s, frame_around(s)).layers.max()) for s in (here, there)]
    assert peaks[0] == pytest.approx(peaks[1], rel=0.05)


def test_squares_of_a_colour_tell_what_the_whole_picture_tells():
    # the second has stitches far longer than a square, the third lies across the first
    parts = [column(20.0, 3.0, 0.4), column(20.0, 30.0, 0.4, 8.0), column(9.0, 5.0, 0.4, 1.0)]
    stream = stream_of(*parts, threads=3)
    command = stream.command.copy()
    command[np.cumsum([len(part) + 1 for part in parts])[:-1]] = Command.COLOR_CHANGE
    picture = paint(
        replace(stream, command=command), owners(*parts), (0, 1, 2), frame_around(stream)
    )
    whole = threads_passing(picture, (2, 3))
    for number in range(3):
        near, window = no_squares([picture]), picture.window_of(number)
        mark_squares(near, number, window)
        shows = picture.classes[window] == number + 1
        for every, some in zip(whole, threads_passing(picture, (2, 3), near), strict=True):
            assert (every[window] & shows).any()
            assert (every[window] & shows == some[window] & shows).all()
            assert some.sum() < every.sum()

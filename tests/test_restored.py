"""Two designs compared: an order put right is told as such, everything else counts."""

from dataclasses import replace

import numpy as np
import pytest

from restitch.infer import infer
from restitch.model import Command, Stream, Thread, read_only
from restitch.restored import look_of_pair
from stitched import arc, column


def stream_of(*parts):
    """Parts of different colours, one after another."""
    xy, command = [], []
    for number, part in enumerate(parts):
        if number:
            xy.append(part[:1])
            command.append([Command.COLOR_CHANGE])
        xy.append(part)
        command.append([Command.STITCH] * len(part))
    threads = (RED, BLUE)
    return Stream(
        read_only(np.concatenate(xy).astype(np.int32)),
        read_only(np.concatenate(command).astype(np.uint8)),
        threads,
        "pes",
    )


RING, BAR = arc(radius=15, width=3, degrees=362), column(32, 3, x=-16)
RED, BLUE = Thread(0xC02020), Thread(0x2020C0)


def pair():
    """A bar sewn over the border that should cover its ends, and the same put right."""
    wrong = replace(stream_of(RING, BAR), threads=(RED, BLUE))
    right = replace(stream_of(BAR, RING), threads=(BLUE, RED))
    return wrong, right


def test_an_order_put_right_is_left_out_of_the_look():
    wrong, right = pair()
    plain = look_of_pair(wrong, right)
    told = look_of_pair(wrong, right, infer(wrong))
    assert plain.kept < 0.99
    assert not plain.layering_excepted
    assert told.kept > 0.999
    assert told.layering_excepted


def test_an_order_put_wrong_counts_in_full():
    wrong, right = pair()
    spoilt = look_of_pair(right, wrong, infer(right))
    assert spoilt.kept == pytest.approx(look_of_pair(right, wrong).kept)
    assert not spoilt.layering_excepted


def test_what_is_missing_besides_the_order_still_counts():
    wrong, right = pair()
    half = replace(stream_of(BAR[: len(BAR) // 2], RING), threads=right.threads)
    assert look_of_pair(wrong, half, infer(wrong)).kept < 0.95


def test_a_design_is_like_itself():
    wrong, _ = pair()
    assert look_of_pair(wrong, wrong, infer(wrong)).kept == 1.0

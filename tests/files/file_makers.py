"""Small invented designs and damaged files for the tests of reading and writing."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import strategies as st

from restitch.model import Command, Stream, Thread, read_only

HARBOUR_THREADS = (
    Thread(0x1B3A6B, "Quay blue", "2104", "Harbour"),
    Thread(0xC8102E, "Buoy red", "1902", "Harbour"),
    Thread(0xF2C14E, "Lamp", "0701", "Harbour"),
    Thread(0xFFFFFF, "Sail", "0015", "Harbour"),
    Thread(0x2E6E4E, "Weed", "5531", "Harbour"),
    Thread(0x1B3A6B, "Quay blue dark", "2105", "Harbour"),
)


def stream_of(rows, threads, fmt="pes", name="Harbour", colours_known=True, data=None):
    """A stream from (x, y, command) rows."""
    table = np.array(rows, np.int32)
    return Stream(
        xy=read_only(np.ascontiguousarray(table[:, :2])),
        command=read_only(table[:, 2].astype(np.uint8)),
        threads=tuple(threads),
        format=fmt,
        name=name,
        colours_known=colours_known,
        data=data,
    )


def zigzag_rows(x0, y0, count, width=30, pitch=4):
    """A column of zigzag stitches."""
    k = np.arange(count)
    return np.column_stack(
        [x0 + np.where(k % 2, width, 0), y0 + pitch * k, np.zeros(count, int)]
    ).tolist()


def lighthouse(stitches=60, fmt="pes"):
    """Three colour blocks of zigzag with trims, jumps and a stop."""
    rows = [[-40, -60, Command.JUMP], *zigzag_rows(-40, -60, stitches)]
    for block, command in enumerate((Command.COLOR_CHANGE, Command.STOP, Command.COLOR_CHANGE), 1):
        here = rows[-1][:2]
        there = [-40 + 70 * block, -50]
        rows += [[*here, Command.TRIM], [*here, command], [*there, Command.JUMP]]
        rows += zigzag_rows(*there, stitches)
    rows.append([*rows[-1][:2], Command.END])
    return stream_of(rows, HARBOUR_THREADS[:3], fmt)


_STEP = st.tuples(st.integers(-60, 60), st.integers(-60, 60))
_FAR = st.tuples(st.integers(-900, 900), st.integers(-900, 900))
_RUN = st.lists(_STEP, min_size=2, max_size=12)
_LINK = st.sampled_from(["trim", "jump", "stop", "sewn far", "trim in place"])


@st.composite
def designs(draw, most_blocks=5):
    """Random streams as fixes may emit them: runs of stitches, any link between them."""
    chosen = draw(st.lists(st.sampled_from(HARBOUR_THREADS), min_size=1, max_size=most_blocks))
    threads = [chosen[0], *(b for a, b in pairwise(chosen) if a != b)]
    here = np.array(draw(_FAR))
    rows = [[*here, Command.JUMP]] if here.any() else []
    for block in range(len(threads)):
        if block:
            if draw(st.booleans()):
                rows.append([*here, Command.TRIM])
            rows.append([*here, Command.COLOR_CHANGE])
            here = here + draw(_FAR)
            rows.append([*here, Command.JUMP])
        for number, run in enumerate(draw(st.lists(_RUN, min_size=1, max_size=4))):
            if number:
                here = _linked(rows, here, draw(_LINK), draw(_FAR))
            for step in run:
                here = np.clip(here + step, -2500, 2500)
                rows.append([*here, Command.STITCH])
        here = np.clip(here, -1500, 1500)
    rows.append([*here, Command.END])
    stream = stream_of([[int(v) for v in r] for r in rows], threads)
    if (stream.xy[stream.stitch_index] == stream.xy[stream.stitch_index][0]).all():
        rows.insert(-1, [int(here[0]) + 20, int(here[1]), Command.STITCH])
        stream = stream_of([[int(v) for v in r] for r in rows], threads)
    return stream


def _linked(rows, here, link, far):
    there = np.clip(here + far, -1500, 1500)
    if link == "trim in place":
        rows.append([*here, Command.TRIM])
        return here
    if link == "sewn far":
        rows.append([*there, Command.STITCH])
        return there
    if link != "jump":
        rows.append([*here, Command.TRIM if link == "trim" else Command.STOP])
    rows.append([*there, Command.JUMP])
    return there

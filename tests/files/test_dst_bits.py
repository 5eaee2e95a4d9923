"""What we write to DST, decoded with a decoder of its own from the published bit weights.

Each record is three bytes; every bit stands for a move of 81, 27, 9, 3 or 1 tenths of a
millimetre to one side, y upwards (published descriptions of the format agree on the table). The
library that writes the file takes no part in decoding it.
"""

import numpy as np
from file_makers import designs, lighthouse, stream_of
from hypothesis import given, settings

from restitch.files import encode
from restitch.model import Command, Thread

HEADER = 512
X_WEIGHTS = {(0, 0): 1, (0, 1): -1, (0, 2): 9, (0, 3): -9, (1, 0): 3, (1, 1): -3}
X_WEIGHTS |= {(1, 2): 27, (1, 3): -27, (2, 2): 81, (2, 3): -81}
Y_WEIGHTS = {(0, 7): 1, (0, 6): -1, (0, 5): 9, (0, 4): -9, (1, 7): 3, (1, 6): -3}
Y_WEIGHTS |= {(1, 5): 27, (1, 4): -27, (2, 5): 81, (2, 4): -81}
ALWAYS_ON = 0x03
JUMP, CHANGE, END = 0x80, 0xC0, 0xF0


def moves_of(data):
    """(kind, dx, dy) of each record up to the end record, y down."""
    body = data[HEADER:]
    for at in range(0, len(body) - 2, 3):
        record = body[at : at + 3]
        if record[2] & 0xF3 == END | ALWAYS_ON:
            return
        x, y = (
            sum(w for (byte, bit), w in weights.items() if record[byte] >> bit & 1)
            for weights in (X_WEIGHTS, Y_WEIGHTS)
        )
        kind = {0: "stitch", JUMP: "jump", CHANGE: "change"}[record[2] & 0xC0]
        if kind == "change":
            x = y = 0  # the weights of 81 share no bits with it, but a change does not move
        yield kind, x, -y
    raise AssertionError("no end record")


def needle_points_of(data):
    here, points, changes = np.zeros(2, int), [], 0
    for kind, dx, dy in moves_of(data):
        here = here + np.array([dx, dy])
        changes += kind == "change"
        if kind == "stitch":
            points.append(here)
    return np.array(points), changes


@given(stream=designs())
@settings(max_examples=60, deadline=None)
def test_needle_points_decode_from_the_bits(stream):
    data = encode(stream, "dst").data
    points, changes = needle_points_of(data)
    assert np.array_equal(points, stream.xy[stream.stitch_index])
    halts = np.isin(stream.command, (Command.COLOR_CHANGE, Command.STOP))
    assert changes == halts.sum()


def test_every_move_of_one_record_decodes():
    """All moves from -121 to 121 on each axis, as stitches from the centre and back."""
    rows = []
    for d in range(-121, 122):
        rows += [[0, 0, 0], [d, 0, 0], [0, 0, 0], [0, d, 0], [0, 0, 0], [d, -d, 0]]
    data = encode(stream_of([*rows, [0, 0, 4]], [Thread(0)]), "dst").data
    points, _ = needle_points_of(data)
    assert np.array_equal(points, np.array(rows)[:, :2])


def test_a_trim_is_three_jumps_that_come_back():
    """Common practice of the format: three jumps in a row cut the thread."""
    stream = lighthouse()
    kinds = [(k, dx, dy) for k, dx, dy in moves_of(encode(stream, "dst").data)]
    trims = 0
    for at in range(len(kinds) - 2):
        three = kinds[at : at + 3]
        if all(k == "jump" for k, _, _ in three):
            trims += sum(dx for _, dx, _ in three) == 0 == sum(dy for _, _, dy in three)
    assert trims == (stream.command == Command.TRIM).sum()


def test_the_header_states_what_follows():
    stream = lighthouse()
    header = encode(stream, "dst").data[:HEADER].decode("ascii")
    fields = dict(line.split(":", 1) for line in header.split("\r") if ":" in line)
    assert fields["LA"].strip() == "Harbour"
    assert int(fields["CO"]) == 3  # two changes and a stop
    xs, ys = stream.xy.T
    assert (int(fields["+X"]), int(fields["-X"])) == (abs(xs.max()), abs(xs.min()))
    assert (int(fields["+Y"]), int(fields["-Y"])) == (abs(ys.max()), abs(ys.min()))

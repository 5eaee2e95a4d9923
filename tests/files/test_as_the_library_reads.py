"""What makes reading quicker changes nothing: pyembroidery left alone is the reference."""

import io

import pyembroidery
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.files.encode import _writers
from restitch.files.parse import parse, readers

STITCH, JUMP, CHANGE, SEQUINS, END = 0x03, 0x83, 0xC3, 0x43, 0xF3
NARROW = [0x00, 0x01, 0x02, 0x04, 0x08, 0x40, 0x80, 0x05, 0x0A]
"""First bytes of a record: moves of up to a millimetre to either side, so that many come back."""

records = st.lists(
    st.tuples(
        st.sampled_from(NARROW),
        st.sampled_from([STITCH, STITCH, STITCH, JUMP, JUMP, JUMP, JUMP, CHANGE, SEQUINS]),
    ),
    max_size=40,
)


def left_alone(data):
    """The rows that the library's reader gives, its own pattern and functions as they were."""
    reader = readers()["dst"]
    remembering = reader.decode_dx, reader.decode_dy
    reader.decode_dx, reader.decode_dy = (f.__wrapped__ for f in remembering)
    pattern = pyembroidery.EmbPattern()
    reader.read(io.BytesIO(data), pattern)
    reader.decode_dx, reader.decode_dy = remembering
    return pattern.stitches


@given(records)
@settings(max_examples=400, deadline=None)
def test_dst_is_read_record_by_record_as_by_the_library(made):
    body = bytes(byte for first, last in made for byte in (first, 0, last))
    data = b" " * 512 + body + bytes([0, 0, END])
    assert parse(data, "dst").rows == left_alone(data)


def test_trims_are_guessed_in_a_long_list_as_in_a_short_one():
    """Three jumps after a stitch are a trim, wherever they stand (the reader's own rule)."""
    stitches, jumps = bytes([1, 0, STITCH]) * 500, bytes([4, 0, JUMP]) * 3
    data = b" " * 512 + (stitches + jumps) * 20 + stitches + bytes([0, 0, END])
    rows = parse(data, "dst").rows
    assert rows == left_alone(data)
    assert sum(row[2] == pyembroidery.TRIM for row in rows) == 20


@given(st.integers(-121, 121), st.integers(-121, 121))
@settings(max_examples=200, deadline=None)
def test_a_remembered_record_is_the_library_s(x, y):
    writer = _writers()["dst"]
    for flags in (pyembroidery.STITCH, pyembroidery.JUMP, pyembroidery.COLOR_CHANGE):
        wanted = writer.encode_record.__wrapped__(x, y, flags)
        assert [writer.encode_record(x, y, flags) for _ in range(2)] == [wanted, wanted]

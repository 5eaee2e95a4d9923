"""Which thread sews which block."""

from itertools import pairwise

import numpy as np
import pytest
from file_makers import HARBOUR_THREADS, lighthouse, stream_of, zigzag_rows
from pyembroidery.EmbThreadPec import get_thread_set

from restitch.files import decode, encode
from restitch.files.threads import placeholder
from restitch.model import Thread

RED, YELLOW, BLACK, WHITE = (Thread(get_thread_set()[k].color & 0xFFFFFF) for k in (5, 13, 20, 29))


def blocks_of(count):
    rows = []
    for block in range(count):
        rows += [[0, 20 * block, 5]] * bool(block) + zigzag_rows(0, 20 * block, 5)
    return rows


def pes_with(threads, header):
    """A PES whose PEC part names ``threads`` in sewing order and whose header lists others."""
    data = encode(stream_of(blocks_of(len(threads)), threads), "pes").data
    start = int.from_bytes(data[8:12], "little")
    other = encode(stream_of(blocks_of(len(header)), header), "pes").data
    part = int.from_bytes(other[8:12], "little")
    tail = data[start:]
    return other[:8] + part.to_bytes(4, "little") + other[12:part] + tail


def colours(data):
    return [t.rgb for t in decode(data, "pes", "a.pes").threads]


def test_a_header_out_of_order_is_put_in_sewing_order():
    """Some programs list the threads of a PES in another order than they sew (public files)."""
    sewn = [RED, YELLOW, RED, BLACK]
    data = pes_with(sewn, [YELLOW, BLACK, RED, WHITE])
    assert colours(data) == [t.rgb for t in sewn]


def test_a_header_in_order_is_kept_with_its_own_colours():
    own = [Thread(0x112233, "dawn"), Thread(0x445566, "dusk"), Thread(0x112233, "dawn")]
    data = encode(stream_of(blocks_of(3), own), "pes").data
    assert decode(data, "pes", "a").threads == tuple(own)


def test_a_header_that_cannot_be_paired_gives_way_to_the_palette():
    sewn = [RED, YELLOW, RED, BLACK]
    data = pes_with(sewn, [Thread(0x111111), Thread(0x222222)])
    assert colours(data) == [t.rgb for t in sewn]


def test_palette_entries_of_stops_are_skipped():
    """The palette has an entry for every stop, so entry k is not block k."""
    stream = lighthouse()
    for fmt in ("pes", "pec"):
        back = encode(stream, fmt).stream
        assert len(back.threads) == 3
    assert encode(stream, "pes").stream.threads == stream.threads


def test_more_colours_than_the_palette_has():
    threads = [Thread(0x010203 * k & 0xFFFFFF, f"shade {k}") for k in range(1, 120)]
    back = encode(stream_of(blocks_of(119), threads, name="x"), "pes").stream
    assert back.threads == tuple(threads)


@pytest.mark.parametrize("fmt", ["dst", "exp", "u01"])
def test_formats_without_colours_say_so(fmt):
    back = encode(lighthouse(), fmt).stream
    assert not back.colours_known
    assert back.threads == tuple(placeholder(k) for k in range(len(back.threads)))
    assert len({t.name for t in back.threads}) == len(back.threads)
    assert any("no thread colours" in w for w in back.warnings)


def test_a_dst_that_lists_its_threads_knows_them():
    data = bytearray(encode(lighthouse(), "dst").data)
    listed = b"TC:#1B3A6B,Quay blue,2104\rTC:#C8102E,Buoy red,1902\rTC:#F2C14E,Lamp,0701\r"
    listed += b"TC:#FFFFFF,Sail,0015\r\x1a"
    at = data.index(b"\x1a")
    data[at : at + len(listed)] = listed
    back = decode(bytes(data), "dst", "a")
    assert back.colours_known
    assert [t.name for t in back.threads] == ["Quay blue", "Buoy red", "Lamp", "Sail"]


def test_a_tbf_lists_threads_by_needle():
    rows = [[0, 0, 9], *zigzag_rows(0, 0, 5), [0, 16, 9], *zigzag_rows(60, 0, 5), [60, 16, 9]]
    rows += [*zigzag_rows(120, 0, 5), [120, 16, 4]]
    needles = np.zeros(len(rows), np.int32)
    needles[[0, 6, 12]] = [(n + 1) << 8 for n in (4, 2, 4)]
    threads = [HARBOUR_THREADS[1], HARBOUR_THREADS[2], HARBOUR_THREADS[1]]
    back = encode(stream_of(rows, threads, "tbf", data=needles), "tbf").stream
    assert [t.rgb for t in back.threads] == [t.rgb for t in threads]


def test_neighbouring_placeholders_differ():
    rgb = [placeholder(k).rgb for k in range(40)]
    assert all(a != b for a, b in pairwise(rgb))

"""Every format written gives the same needle points, changes, threads and bytes."""

import numpy as np
import pyembroidery
import pytest
from file_makers import HARBOUR_THREADS, designs, lighthouse, stream_of, zigzag_rows
from hypothesis import given, settings

from restitch.errors import WriteError
from restitch.files import FORMATS, decode, difference, encode, facts, round_trip
from restitch.model import Command, Thread

EVERY_FORMAT = pytest.mark.parametrize("fmt", list(FORMATS))


def needle_points(stream):
    return stream.xy[stream.stitch_index]


def thread_of_stitches(stream):
    return [stream.threads[b] for b in stream.block_of_record[stream.stitch_index]]


@EVERY_FORMAT
@given(stream=designs())
@settings(max_examples=40, deadline=None)
def test_needle_points_and_threads_survive_every_format(fmt, stream):
    encoded = encode(stream, fmt)
    back = encoded.stream
    assert np.array_equal(needle_points(back), needle_points(stream))
    assert len(back.threads) == back.block_of_record[-1] + 1
    if FORMATS[fmt].thread_names:
        assert thread_of_stitches(back) == thread_of_stitches(stream)
    elif FORMATS[fmt].colours == "exact":
        wanted = [t.rgb for t in thread_of_stitches(stream)]
        assert [t.rgb for t in thread_of_stitches(back)] == wanted


@EVERY_FORMAT
@given(stream=designs())
@settings(max_examples=25, deadline=None)
def test_writing_what_was_read_changes_nothing(fmt, stream):
    first = encode(stream, fmt)
    second = encode(first.stream, fmt)
    assert np.array_equal(second.stream.xy, first.stream.xy)
    assert np.array_equal(second.stream.command, first.stream.command)
    assert second.stream.threads == first.stream.threads
    assert encode(second.stream, fmt).data == second.data


@EVERY_FORMAT
@given(stream=designs())
@settings(max_examples=10, deadline=None)
def test_same_stream_same_bytes(fmt, stream):
    assert encode(stream, fmt).data == encode(stream, fmt).data


@EVERY_FORMAT
def test_records_are_those_of_the_library(fmt, tmp_path):
    """Record i of a stream is record i of pyembroidery.read, which scripts index into."""
    path = tmp_path / f"lighthouse.{fmt}"
    encoded = encode(lighthouse(), fmt)
    path.write_bytes(encoded.data)
    rows = np.array(pyembroidery.read(str(path)).stitches, float)
    assert np.array_equal(rows[:, :2], encoded.stream.xy)
    assert np.array_equal(rows[:, 2].astype(np.int64) & 0xFF, encoded.stream.command)


@EVERY_FORMAT
def test_no_move_is_over_the_limit_of_the_format(fmt):
    rows = [[0, 0, 0], [900, 20, 0], [900, -700, 1], [930, -700, 0], [30, 5, 0], [30, 5, 4]]
    back = encode(stream_of(rows, HARBOUR_THREADS[:1]), fmt).stream
    steps = np.abs(np.diff(back.xy, axis=0, prepend=np.zeros((1, 2), np.int32)))
    assert steps.max() <= FORMATS[fmt].largest_move


@EVERY_FORMAT
def test_the_bytes_are_small(fmt):
    """Each stitch costs what the format's table says, so nothing is written twice."""
    blocks = [[k % 40, k // 40 % 40, 0] for k in range(5000)]
    small, large = (
        len(encode(stream_of(blocks[:n], HARBOUR_THREADS[:1]), fmt).data) for n in (1000, 5000)
    )
    each = (large - small) / 4000
    most = {"pes": 6.0, "csv": 45.0, "json": 90.0}.get(fmt, FORMATS[fmt].bytes_per_stitch)
    assert FORMATS[fmt].bytes_per_stitch <= each <= most + 0.01


def test_a_stop_is_kept_or_told_as_the_facts_say():
    stream = lighthouse()
    stops = int((stream.command == Command.STOP).sum())
    for fmt in FORMATS.values():
        back = encode(stream, fmt.extension).stream
        found = int((back.command == Command.STOP).sum())
        changes = back.block_of_record[-1] - stream.block_of_record[-1]
        wanted = {"kept": (stops, 0), "change": (0, stops), "lost": (0, 0)}[fmt.stops]
        assert (found, changes) == wanted, fmt.extension


def test_needle_numbers_of_the_source_are_kept():
    rows = [[0, 0, 9], *zigzag_rows(0, 0, 5), [30, 16, 9], *zigzag_rows(50, 0, 5), [50, 16, 4]]
    data = np.zeros(len(rows), np.int32)
    data[[0, 6]] = (8 << 8, 3 << 8)  # needles 7 and 2, stored one higher
    stream = stream_of(rows, HARBOUR_THREADS[:2], "u01", data=data)
    for fmt in ("u01", "tbf", "csv", "json"):
        back = encode(stream, fmt).stream
        needles = back.data[back.command == Command.NEEDLE_SET] >> 8
        assert needles.tolist() == [8, 3], fmt
        if FORMATS[fmt].colours == "exact":
            assert [t.rgb for t in back.threads] == [t.rgb for t in stream.threads], fmt


def test_speed_records_survive_where_the_format_has_them():
    rows = [[0, 0, 0], [0, 0, Command.SLOW], [20, 0, 0], [20, 0, Command.FAST], [20, 0, 0]]
    rows += [[40, 0, 0], [40, 0, 4]]
    stream = stream_of(rows, HARBOUR_THREADS[:1])
    kept = encode(stream, "u01").stream.command
    assert (kept == Command.SLOW).sum() == 1
    assert len(needle_points(encode(stream, "dst").stream)) == 4


def test_a_change_between_equal_threads_is_a_stop_in_pes():
    rows = [*zigzag_rows(0, 0, 6), [30, 20, 5], *zigzag_rows(0, 40, 6), [30, 60, 4]]
    stream = stream_of(rows, [HARBOUR_THREADS[0], HARBOUR_THREADS[0]])
    encoded = encode(stream, "pes")
    assert (encoded.stream.command == Command.STOP).sum() == 1
    assert any("stop" in w for w in encoded.warnings)


def test_vp3_keeps_blocks_in_place_whatever_the_extents():
    """The library alone shifts colour blocks by 0.1 mm where the extents are odd."""
    for odd_x in (0, 1):
        for odd_y in (0, 1):
            rows = [*zigzag_rows(0, 0, 9, 30 + odd_x), [30, 33, 5]]
            rows += [*zigzag_rows(7, 41 + odd_y, 9), [7, 70, 4]]
            stream = stream_of(rows, HARBOUR_THREADS[:2])
            back = encode(stream, "vp3").stream
            assert np.array_equal(needle_points(back), needle_points(stream))


def test_vp3_sews_short_jumps_and_trims_long_ones():
    rows = [*zigzag_rows(0, 0, 4), [60, 0, 1], [60, 0, 0], [70, 9, 0], [400, 0, 1]]
    rows += [[400, 0, 0], [420, 9, 0], [420, 9, 4]]
    back = encode(stream_of(rows, HARBOUR_THREADS[:1]), "vp3").stream
    trims = np.cumsum(back.command == Command.STITCH)[back.command == Command.TRIM]
    assert trims.tolist() == [6, 8]  # before the long jump, and the writer's own at the end


def test_foreign_letters_never_reach_the_file():
    name, thread = "Müller & Zoë", Thread(0x102030, "Größe weiß", "7", "Øst")
    for fmt in FORMATS:
        stream = stream_of([*zigzag_rows(0, 0, 9), [0, 40, 4]], [thread], name=name)
        encoded = encode(stream, fmt)
        assert np.array_equal(needle_points(encoded.stream), needle_points(stream))
        if fmt == "pes":
            assert encoded.stream.name == "Muller & Zoe"
            assert encoded.stream.threads[0].name == "Grosse weiss"
        if fmt == "json":
            assert encoded.stream.threads == (thread,)


@pytest.mark.parametrize("letters", [16, 17, 400, 480])
def test_long_names_do_not_move_the_stitches(letters):
    for fmt in FORMATS:
        stream = stream_of(
            [*zigzag_rows(0, 0, 9), [0, 40, 4]], HARBOUR_THREADS[:1], name="n" * letters
        )
        encode(stream, fmt)  # raises where it does not read back


def test_unknown_colours_are_written_the_same_every_time():
    stream = decode(encode(lighthouse(), "dst").data, "dst", "a.dst")
    assert not stream.colours_known
    for fmt in ("pes", "pec", "jef", "vp3", "xxx"):
        encoded = encode(stream, fmt)
        assert encoded.data == encode(stream, fmt).data
        assert any("placeholder" in w for w in encoded.warnings)


def test_what_cannot_be_written_is_refused():
    stream = lighthouse()
    with pytest.raises(WriteError, match="cannot be written"):
        encode(stream, "hus")
    with pytest.raises(WriteError, match="no stitches"):
        encode(stream_of([[0, 0, 4]], HARBOUR_THREADS[:1]), "dst")
    many = [[0, 0, 0]]
    for block in range(260):
        many += [[block, 0, 5], [block, 9, 0], [block + 9, 0, 0]]
    threads = [Thread(n) for n in range(261)]
    with pytest.raises(WriteError, match="255"):
        encode(stream_of(many, threads), "pes")


def test_a_file_that_differs_is_noticed():
    stream = lighthouse()
    fmt = facts("pes")
    moved = stream.xy.copy()
    moved[40] += 1
    rows = np.column_stack([moved, stream.command])
    assert "differs at stitch" in difference(stream_of(rows, stream.threads), stream, fmt)
    fewer = np.delete(rows, 40, axis=0)
    assert "stitches for" in difference(stream_of(fewer, stream.threads), stream, fmt)
    other = (HARBOUR_THREADS[4], *stream.threads[1:])
    rows = np.column_stack([stream.xy, stream.command])
    assert "another thread" in difference(stream_of(rows, other), stream, fmt)
    cut = np.insert(rows, 20, [*rows[19, :2], Command.TRIM], axis=0)
    assert "trim" in difference(stream_of(cut, stream.threads), stream, fmt)
    assert "trim" in difference(stream, stream_of(cut, stream.threads), fmt)


def test_losses_are_told():
    stream = lighthouse()
    for fmt, words in {
        "dst": ("no thread colours", "stops as colour changes"),
        "exp": ("no thread colours", "no design name"),
        "jef": ("palette", "no thread names"),
        "vp3": ("cannot store 1 stop",),
        "xxx": ("no thread names",),
        "u01": ("no thread colours",),
    }.items():
        told = " ".join(encode(stream, fmt).warnings)
        assert all(w in told for w in words), (fmt, told)
    assert encode(stream, "pes").warnings == ()


@EVERY_FORMAT
@given(stream=designs())
@settings(max_examples=40, deadline=None)
def test_what_is_foreseen_is_what_comes_back(fmt, stream):
    """The quick answer equals a real round trip, field by field."""
    wanted, found = encode(stream, fmt).stream, round_trip(stream, fmt)
    assert np.array_equal(found.command, wanted.command)
    assert np.array_equal(found.xy, wanted.xy)
    assert (found.data is None) == (wanted.data is None)
    assert found.data is None or np.array_equal(found.data, wanted.data)
    for field in ("threads", "format", "name", "colours_known", "warnings"):
        assert getattr(found, field) == getattr(wanted, field)

"""Damaged, cut and foreign files: one line that names the file and the reason, nothing else."""

import struct

import numpy as np
import pytest
from file_makers import HARBOUR_THREADS, lighthouse, stream_of, zigzag_rows

from restitch.errors import ExitCode, UnreadableError
from restitch.files import FORMATS, ReaderProcess, decode, encode, read_stream
from restitch.files.read import readable_extensions
from restitch.model import Command


@pytest.fixture(scope="module")
def reader():
    with ReaderProcess() as process:
        yield process


CSV = '"*","{}","{}","{}","{}"\n'


def csv_of(*rows):
    return "".join(CSV.format(i, *row) for i, row in enumerate(rows)).encode()


def refusal(data, fmt, name="harbour", reader=None):
    with pytest.raises(UnreadableError) as caught:
        decode(data, fmt, f"{name}.{fmt}", reader=reader)
    text = str(caught.value)
    assert text.startswith(f"{name}.{fmt}: ")
    assert "\n" not in text
    return text


def hus_file(commands, xs, ys, count=None, colours=1):
    """A HUS file whose three sections are packed as literals."""

    def packed(values):
        # A block header for a Huffman table is long; a section of one repeated value needs
        # only a code of no bits, which the format allows.
        value = values[0]
        bits = f"{len(values):016b}" + "00000" + "00000" + "000000000" + f"{value:09b}"
        bits += "00000" + "00000" + "0" * 64
        return bytes(int(bits[i : i + 8], 2) for i in range(0, len(bits) - 7, 8))

    sections = [packed(v) for v in (commands, xs, ys)]
    start = 42 + 2 * colours
    offsets = [start, start + len(sections[0]), start + len(sections[0]) + len(sections[1])]
    head = struct.pack("<III", 0xC8AF5B, len(commands) if count is None else count, colours)
    head += struct.pack("<hhhh", 100, 100, -100, -100) + struct.pack("<III", *offsets)
    head += b"\0" * 8 + b"\0\0" + b"\5\0" * colours
    return head + b"".join(sections)


ANY_BYTES_ARE_STITCHES = ("exp", "mit", "tap")


@pytest.mark.parametrize("fmt", readable_extensions())
def test_scraps_are_refused(fmt, reader):
    for data in (b"", b"\0", b"\0\0", b"x" * 7, b"\xff" * 40):
        if fmt not in ANY_BYTES_ARE_STITCHES or len(data) < 3:
            refusal(data, fmt, reader=reader)


@pytest.mark.parametrize("fmt", sorted(FORMATS))
def test_no_cut_file_is_read_as_whole(fmt):
    """Every cut of a whole file is refused, or has lost nothing, or says it may be cut."""
    whole = encode(lighthouse(30), fmt).data
    stitches = len(decode(whole, fmt, "a").stitch_index)
    for stop in np.linspace(1, len(whole) - 1, 60).astype(int):
        try:
            back = decode(whole[:stop], fmt, "a")
        except UnreadableError:
            continue
        lost = stitches - len(back.stitch_index)
        # EXP has no end mark and CSV is a list of lines: a cut between records shows nothing.
        assert not lost or fmt in ("exp", "csv"), stop


def test_a_cut_exp_in_mid_record_is_doubted():
    whole = encode(lighthouse(), "exp").data
    at = whole.index(b"\x80\x04", 40) + 2
    assert any("incomplete" in w for w in decode(whole[:41], "exp", "a").warnings)
    assert any("incomplete" in w for w in decode(whole[: at + 1], "exp", "a").warnings)
    jump = whole.index(b"\x80\x04", 40) + 4
    assert any("jump" in w for w in decode(whole[:jump], "exp", "a").warnings)


@pytest.mark.parametrize("other", ["pes", "pec", "dst", "vp3"])
@pytest.mark.parametrize("fmt", ["exp", "sew", "shv", "u01", "jef", "xxx"])
def test_another_format_under_this_extension_is_named(fmt, other):
    data = encode(lighthouse(), other).data
    assert f"this is a {other.upper()} file named .{fmt}" in refusal(data, fmt)


def test_a_signed_format_without_its_signature_is_refused():
    data = encode(lighthouse(), "exp").data
    for fmt in ("pes", "pec", "vp3"):
        assert "begin" in refusal(data, fmt)


def test_a_dst_header_that_counts_wrongly_is_doubted():
    data = bytearray(encode(lighthouse(), "dst").data)
    at = data.index(b"ST:")
    data[at : at + 10] = b"ST:  99999"
    assert any("99,999" in w for w in decode(bytes(data), "dst", "a").warnings)
    whole = decode(encode(lighthouse(), "dst").data, "dst", "a")
    assert not any("header" in w for w in whole.warnings)


def test_a_pes_that_a_wide_letter_shifted_is_refused():
    """A label with a two-byte letter moves everything behind it by a byte."""
    data = encode(lighthouse(), "pes").data
    at = data.index(b"LA:Harbour")
    assert "stitch block" in refusal(data[:at] + b"LA:H\xc3\xa4rbour" + data[at + 10 :], "pes")


def test_an_end_mark_in_the_middle_is_noticed():
    pec = bytearray(encode(lighthouse(), "pec").data)
    pec[8 + 512 + 60 : 8 + 512 + 62] = b"\xff\x00"
    assert "ends early" in refusal(bytes(pec), "pec")
    jef = bytearray(encode(lighthouse(), "jef").data)
    jef[200:202] = b"\x80\x1f"
    assert "ends early" in refusal(bytes(jef), "jef")
    u01 = bytearray(encode(lighthouse(), "u01").data)
    u01[0x100 + 30] = 0x9F
    assert "ends early" in refusal(bytes(u01), "u01")
    xxx = bytearray(encode(lighthouse(), "xxx").data)
    xxx[0x100 + 30 : 0x100 + 32] = b"\x7f\x7f"
    assert "ends early" in refusal(bytes(xxx), "xxx")


def test_a_vp3_block_of_wrong_length_is_refused():
    """The library's reader asks for a gigabyte instead."""
    data = bytearray(encode(lighthouse(), "vp3").data)
    at = data.index(b"\x00\x05\x00") + 3
    length = int.from_bytes(data[at : at + 4], "big")
    data[at : at + 4] = (length - 40).to_bytes(4, "big")
    assert "colour block 2 is damaged" in refusal(bytes(data), "vp3")


def test_coordinates_no_machine_has_are_refused():
    near, far = ("STITCH", 0, 0), ("STITCH", 1e308, 5)
    assert "larger than any hoop" in refusal(csv_of(near, far), "csv")
    assert "larger than any hoop" in refusal(csv_of(near, ("STITCH", 9000, 0)), "csv")
    assert "larger than any hoop" in refusal(csv_of(("STITCH", 5e5, 0), ("JUMP", 5e5, 9)), "csv")
    assert "not a finite number" in refusal(csv_of(near, ("STITCH", "nan", 0)), "csv")
    assert "line 2 is not a number" in refusal(csv_of(near, ("STITCH", "east", 0)), "csv")
    text = b'{"threadlist": [], "extras": {}, "stitches": [[%s, 0, "STITCH"], [9, 9, "STITCH"]]}'
    assert "not a number" in refusal(text % b'"east"', "json")
    assert "not a number" in refusal(text % b"null", "json")
    assert "hoop" in refusal(text % b"1e12", "json")


@pytest.mark.parametrize(
    "command", ["MATRIX_SCALE", "OPTION_MAX_STITCH_LENGTH", "TIE_ON", "SEW_TO"]
)
def test_commands_to_an_encoder_are_refused(command):
    data = csv_of(("STITCH", 0, 0), (command, 0, 0), ("STITCH", 20, 0))
    assert "record 2 holds a command" in refusal(data, "csv")


def test_an_unknown_command_word_is_refused():
    assert "line 1 cannot be understood" in refusal(csv_of(("SEWS", 0, 0)), "csv")


def test_a_file_without_sewing_is_refused():
    assert "no stitches" in refusal(csv_of(("JUMP", 0, 0), ("JUMP", 30, 0)), "csv")
    assert "one hole" in refusal(csv_of(("STITCH", 7, 7), ("JUMP", 30, 0), ("STITCH", 7, 7)), "csv")


def shv_file(stitches, counted):
    """An SHV file of one colour."""
    head = b"Embroidery disk design".ljust(0x56) + b"\x04Quay" + bytes([2, 2]) + bytes(2 + 4)
    table = struct.pack(">IB9x", counted, 3)[:-2]
    return head + b"\x01" + bytes(18) + table + b"\x05\xfd" * stitches


def test_a_cut_shv_is_noticed():
    assert len(decode(shv_file(40, 40), "shv", "a").stitch_index) == 40
    assert "counts 40" in refusal(shv_file(20, 40), "shv")
    assert any("missing" in w for w in decode(shv_file(39, 40), "shv", "a").warnings)


def test_stitches_after_the_end_are_refused():
    data = csv_of(("STITCH", 0, 0), ("STITCH", 20, 0), ("END", 20, 0), ("STITCH", 40, 0))
    assert "follow the end" in refusal(data, "csv")


def test_a_hus_that_claims_too_much_is_refused():
    whole = hus_file([0x80] * 50, [3] * 50, [4] * 50)
    assert len(decode(whole, "hus", "a").stitch_index) == 50
    assert "colours" in refusal(whole[:8] + b"\xff\xff\xff\xff" + whole[12:], "hus")
    assert "claims" in refusal(whole[:4] + b"\xff\xff\xff\x7f" + whole[8:], "hus")
    assert "ends early" in refusal(hus_file([0x80] * 50, [3] * 50, [4] * 50, count=90), "hus")


def test_missing_threads_are_placeholders_and_told():
    stream = stream_of(
        [*zigzag_rows(0, 0, 5), [0, 16, 5], *zigzag_rows(60, 0, 5)], HARBOUR_THREADS[:2]
    )
    data = encode(stream, "json").data.decode()
    start, stop = data.index("{", data.index("threadlist")), data.index("},") + 2
    back = decode((data[:start] + data[stop:]).encode(), "json", "a")
    assert len(back.threads) == 2
    assert any("1 of 2 thread colours" in w for w in back.warnings)
    assert back.threads == decode((data[:start] + data[stop:]).encode(), "json", "a").threads


def test_a_jef_colour_of_zero_gets_a_placeholder():
    data = bytearray(encode(lighthouse(), "jef").data)
    data[0x74:0x78] = b"\0\0\0\0"
    back = decode(bytes(data), "jef", "a")
    assert all(t is not None for t in back.threads)
    assert any("placeholders" in w for w in back.warnings)
    encode(back, "jef")


def test_fractions_are_snapped_and_told():
    back = decode(csv_of(("STITCH", 0, 0.04), ("STITCH", 20.6, 3)), "csv", "a")
    assert back.xy[back.command == Command.STITCH].tolist() == [[0, 0], [21, 3]]
    assert any("0.040 mm" in w for w in back.warnings)


def test_paths_that_are_no_files(tmp_path):
    for path, words in {
        tmp_path / "none.dst": "no such file",
        tmp_path / "notes.xyz": "unknown extension; known: pes",
        tmp_path / "folder.dst": "is a folder",
        tmp_path / "colours.edr": "colours only",
    }.items():
        if "folder" in path.name:
            path.mkdir()
        elif "none" not in path.name:
            path.write_bytes(b"x")
        with pytest.raises(UnreadableError, match=words) as caught:
            read_stream(path)
        assert caught.value.exit_code == ExitCode.UNREADABLE


def test_a_file_too_large_is_not_read(tmp_path):
    path = tmp_path / "sea.dst"
    with path.open("wb") as file:
        file.truncate((64 << 20) + 1)
    with pytest.raises(UnreadableError, match="larger than 64 MiB"):
        read_stream(path)


def test_upper_case_extensions_are_read(tmp_path):
    path = tmp_path / "HARBOUR.DST"
    path.write_bytes(encode(lighthouse(), "dst").data)
    assert read_stream(path).format == "dst"

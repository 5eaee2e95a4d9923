"""The reader process: the same answer as here, and limits that hold."""

import signal
import subprocess
import sys
import time

import numpy as np
import pytest
from file_makers import lighthouse

from restitch.errors import UnreadableError
from restitch.files import ReaderProcess, ReadLimits, decode, encode, read_stream
from restitch.files import read as read_room
from restitch.files.child import end_after, limit_memory
from restitch.files.parse import ParseFailed
from restitch.files.process import CHILD as CHILD_SCRIPT
from restitch.files.read import is_bounded

# Answers with what the extension asks for: runs on, dies, or takes all memory.
CHILD = """
import json, sys, time
while line := sys.stdin.buffer.readline():
    kind = json.loads(line)["extension"]
    sys.stdin.buffer.read(json.loads(line)["size"])
    if kind == "slow":
        time.sleep(60)
    if kind == "dies":
        sys.exit(1)
    if kind == "noise":
        sys.stdout.buffer.write(b"no answer\\n")
    if kind == "half":
        sys.stdout.buffer.write(b'{"records": 9, "threads": [], "name": "", "stopped": 0}\\n123')
        sys.stdout.buffer.flush()
        sys.exit(1)
    if kind == "sound":
        head = {"records": 0, "threads": [], "name": "sound", "stopped": 0}
        sys.stdout.buffer.write(json.dumps(head).encode() + b"\\n")
    sys.stdout.buffer.flush()
"""


@pytest.fixture
def odd_reader(request, tmp_path, monkeypatch):
    script = tmp_path / "child.py"
    script.write_text(CHILD)
    monkeypatch.setattr("restitch.files.process.CHILD", script)
    # the limit holds for the child's start too, which takes its time on a busy machine
    with ReaderProcess(ReadLimits(seconds=getattr(request, "param", 30.0))) as reader:
        yield reader


@pytest.mark.parametrize("fmt", ["pes", "dst", "vp3", "json"])
def test_the_child_gives_the_same_answer(fmt, monkeypatch):
    data = encode(lighthouse(), fmt).data
    here = decode(data, fmt, "a")
    monkeypatch.setattr(read_room, "is_bounded", lambda *_a: False)
    with ReaderProcess() as reader:
        for _ in range(2):
            there = decode(data, fmt, "a", reader=reader)
            assert np.array_equal(there.xy, here.xy)
            assert np.array_equal(there.command, here.command)
            assert (there.threads, there.name) == (here.threads, here.name)
        with pytest.raises(UnreadableError, match="a: "):
            decode(data[: len(data) // 2], fmt, "a", reader=reader)
        assert len(decode(data, fmt, "a", reader=reader)) == len(here)


def test_one_child_serves_many_files():
    data = encode(lighthouse(), "dst").data
    with ReaderProcess() as reader:
        reader.parse(data, "dst")
        first = reader._child
        reader.parse(data, "dst")
        assert reader._child is first
    assert first.poll() is not None


@pytest.mark.parametrize("odd_reader", [2.0], indirect=True)
def test_a_file_that_takes_too_long_is_given_up(odd_reader):
    start = time.monotonic()
    with pytest.raises(ParseFailed, match="takes more than 2 s"):
        odd_reader.parse(b"x", "slow")
    assert time.monotonic() - start < 20
    assert odd_reader.parse(b"x", "sound").name == "sound"


@pytest.mark.parametrize("kind", ["dies", "noise", "half"])
def test_a_child_that_fails_is_replaced(odd_reader, kind):
    with pytest.raises(ParseFailed, match="damaged"):
        odd_reader.parse(b"x", kind)
    assert odd_reader.parse(b"x", "sound").name == "sound"


@pytest.mark.skipif(sys.platform != "linux", reason="address space is limited on Linux")
def test_memory_is_limited():
    """A file that unpacks to more than it may: refused, and the child serves on."""
    data = b'{"stitches": [' + b"[]," * 2_000_000 + b"[]]}"
    with ReaderProcess(ReadLimits(memory_bytes=60 << 20)) as reader:
        with pytest.raises(ParseFailed, match="memory"):
            reader.parse(data, "json")
        assert len(reader.parse(encode(lighthouse(), "dst").data, "dst").rows)


def test_what_is_parsed_here_is_bounded():
    assert is_bounded("pes", 1 << 20)
    assert not is_bounded("pes", 60 << 20)
    for risky in ("hus", "max", "pcs", "phb", "zhs", "gcode", "dat"):
        assert not is_bounded(risky, 10)


def test_a_file_that_moves_on_and_on_is_parsed_apart():
    """Trims are guessed at a cost that grows with the square of the moves in a row."""
    jump, stitch, end = bytes([1, 0, 0x83]), bytes([2, 0, 0x03]), bytes([0, 0, 0xF3])
    head, many = b" " * 512, read_room.MOST_MOVES_HERE
    few = many - 2  # the stitch before and the end mark count too
    with ReaderProcess() as reader:
        decode(head + 3 * stitch + few * jump + end, "dst", "a", reader=reader)
        assert reader._child is None
        stream = decode(head + 3 * stitch + many * jump + stitch + end, "dst", "a", reader=reader)
        assert reader._child is not None
    assert len(stream.stitch_index) == 4


def test_a_file_of_nothing_but_moves_is_given_up(tmp_path):
    """Jumps there and back, again and again: the library's reader takes every pair out of its list,
    at a cost that grows with the square. This MB would take it half a minute."""
    path = tmp_path / "moves.dst"
    there, back, stitch = bytes([1, 0, 0x83]), bytes([2, 0, 0x83]), bytes([1, 0, 3])
    path.write_bytes(b"LA:Harbour".ljust(512) + 2 * stitch + (there + back) * 150_000 + b"\0\0\xf3")
    begun = time.monotonic()
    with ReaderProcess(ReadLimits(seconds=2)) as reader, pytest.raises(UnreadableError) as caught:
        read_stream(path, reader=reader)
    assert time.monotonic() - begun < 8
    assert str(caught.value) == "moves.dst: takes more than 2 s to read"


def test_trims_cost_no_more_in_a_long_file(tmp_path):
    """Three jumps and a stitch, again and again: the library alone takes 12 s."""
    path = tmp_path / "trims.dst"
    jump, stitch = bytes([1, 0, 0x83]), bytes([1, 0, 3])
    path.write_bytes(b"LA:Harbour".ljust(512) + (jump * 3 + stitch) * 120_000 + b"\0\0\xf3")
    begun = time.monotonic()
    with pytest.raises(UnreadableError, match="m wide, larger than any hoop"):
        read_stream(path)
    assert time.monotonic() - begun < 10


@pytest.mark.skipif(not hasattr(signal, "alarm"), reason="no alarms on this system")
def test_a_reader_whose_caller_is_gone_ends_by_itself():
    """The caller was killed while a file was parsed: nothing else would end an endless read."""
    code = "import sys, time; sys.path.insert(0, sys.argv[1])\nimport child\n"
    code += "child.end_after(0.1)\ntime.sleep(30)"
    begun = time.monotonic()
    done = subprocess.run([sys.executable, "-c", code, str(CHILD_SCRIPT.parent)], check=False)
    assert done.returncode == -signal.SIGALRM
    assert time.monotonic() - begun < 10


def test_a_system_without_limits_of_memory_reads_all_the_same(monkeypatch):
    """Windows has no such limits: the time limit and the cap on file size remain."""
    monkeypatch.setitem(sys.modules, "resource", None)
    limit_memory(1 << 30)
    monkeypatch.delattr(signal, "alarm", raising=False)
    end_after(10)

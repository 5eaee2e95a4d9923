"""Whole small files of every format, made here: the sound starting points of the fuzz run."""

from __future__ import annotations

import struct
from collections.abc import Mapping

import numpy as np
from pyembroidery.EmbCompress import compress

from restitch.files import FORMATS, encode, readable_extensions
from restitch.model import Command, Stream, Thread, read_only

THREADS = (Thread(0x1B3A6B, "Quay", "21"), Thread(0xC8102E, "Buoy", "19"), Thread(0xF2C14E, "Lamp"))
COLOURS = (3, 5, 7, 9)
"""Palette numbers for formats in which the stop of the design is a change as well."""
DESIGNS = ((40, 12), (120, 30))
"""(stitches a block, width in 0.1 mm) of the designs that seeds are made of."""


def design(stitches: int, width: int) -> Stream:
    """Return three colour blocks of zigzag with jumps, trims and a stop."""
    rows: list[list[int]] = []
    for block in range(3):
        x = 3 * width * block
        if block:
            here = rows[-1][:2]
            rows += [[*here, Command.TRIM], [*here, Command.COLOR_CHANGE], [x, 0, Command.JUMP]]
        for k in range(stitches):
            rows.append([x + width * (k % 2), 3 * (k % 40), Command.STITCH])
            if k == stitches // 2 and block == 1:
                rows.append([*rows[-1][:2], Command.STOP])
    rows.append([*rows[-1][:2], Command.END])
    table = np.array(rows, np.int32)
    xy, command = np.ascontiguousarray(table[:, :2]), table[:, 2].astype(np.uint8)
    return Stream(read_only(xy), read_only(command), THREADS, "pes", "Harbour")


def seeds() -> Mapping[str, tuple[bytes, ...]]:
    """Return sound files by extension; for formats nobody here can write, bodies of others."""
    streams = [design(*d) for d in DESIGNS]
    found = {fmt: tuple(encode(s, fmt).data for s in streams) for fmt in FORMATS}
    for fmt, make in {"hus": hus, "sew": sew, "shv": shv}.items():
        found[fmt] = tuple(make(s) for s in streams)
    bodies = tuple(bytes(0x200) + encode(s, "dst").data[512:] for s in streams)
    lend = bodies + tuple(encode(s, "exp").data for s in streams)
    return found | {fmt: lend for fmt in readable_extensions() if fmt not in found}


def _moves(stream: Stream) -> list[tuple[int, int, int]]:
    """(command, dx, dy) of each record but END, split to what a signed byte holds."""
    back = encode(stream, "exp").stream
    steps = np.diff(back.xy, axis=0, prepend=np.zeros((1, 2), np.int32)).tolist()
    pairs = zip(back.command.tolist(), steps, strict=True)
    return [(c, dx, dy) for c, (dx, dy) in pairs if c != Command.END]


def hus(stream: Stream) -> bytes:
    """A HUS file, its three sections packed by the library."""
    codes = {0: 0x80, 1: 0x81, 2: 0x88, 5: 0x84}
    moves = [*((codes[c], dx, dy) for c, dx, dy in _moves(stream)), (0x90, 0, 0)]
    sections = [bytes(compress(bytearray(v & 0xFF for v in column))) for column in _columns(moves)]
    start = 42 + 2 * len(COLOURS)
    offsets = np.cumsum([start, len(sections[0]), len(sections[1])]).tolist()
    head = struct.pack("<IIIhhhh", 0x005BAFC8, len(moves), len(COLOURS), 100, 100, -100, -100)
    head += struct.pack("<III", *offsets) + bytes(10)
    return head + struct.pack("<4H", *COLOURS) + b"".join(sections)


def _columns(moves: list[tuple[int, int, int]]) -> list[list[int]]:
    return [[c for c, _, _ in moves], [dx for _, dx, _ in moves], [-dy for _, _, dy in moves]]


def sew(stream: Stream) -> bytes:
    """A SEW file: colours, a gap, then two bytes a stitch."""
    head = struct.pack("<5H", len(COLOURS), *COLOURS).ljust(0x1D78, b"\0")
    codes = {1: b"\x80\x04", 5: b"\x80\x01"}
    body = b"".join(
        codes.get(c, b"") + struct.pack("bb", dx, -dy) for c, dx, dy in _moves(stream) if c != 2
    )
    return head + body


def shv(stream: Stream) -> bytes:
    """An SHV file: text, name, icon, table of colours, then units of two bytes."""
    blocks: list[bytes] = [b""]
    for c, dx, dy in _moves(stream):
        if c == Command.COLOR_CHANGE:
            blocks.append(b"")
        elif c == Command.JUMP:
            blocks[-1] += b"\x80\x01" + struct.pack(">hh", dx, dy) + b"\x80\x02"
        elif c == Command.STITCH:
            blocks[-1] += struct.pack("bb", dx, dy)
    head = b"Embroidery disk design".ljust(0x56) + b"\x07Harbour" + bytes([2, 2]) + bytes(2 + 4)
    table = b"".join(struct.pack(">IB9x", len(b) // 2, k) for k, b in enumerate(blocks))
    return head + bytes([len(blocks)]) + bytes(18) + table[:-2] + b"".join(blocks)

"""A stitch beyond the format's reach is written as jumps and a stitch: it is still a stitch."""

import numpy as np
import pyembroidery as pe

from restitch.model import Command, Kind, Part, Role, SewnObject, Stream, Thread, read_only
from restitch.plan import links_of, plan_of, written_as_jumps


def through_dst(moves, tmp_path):
    pattern = pe.EmbPattern()
    for x, y, command in moves:
        pattern.add_stitch_absolute(command, x, y)
    pattern.end()
    path = tmp_path / "long.dst"
    pe.write(pattern, str(path))
    rows = np.array([[round(a), round(b), c & 0xFF] for a, b, c in pe.read(str(path)).stitches])
    return Stream(
        read_only(rows[:, :2].astype(np.int32)),
        read_only(rows[:, 2].astype(np.uint8)),
        (Thread(0),),
        "dst",
    )


def test_a_stitch_of_18_mm_is_sewn_and_a_jump_of_18_mm_is_not(tmp_path):
    """DST reaches 12.1 mm on each axis (81 + 27 + 9 + 3 + 1 units)."""
    long = [(0, 0), (30, 0), (60, 0), (240, 20), (270, 20)]
    stitched = [(*p, pe.STITCH) for p in long]
    jumped = [*stitched[:3], (240, 20, pe.JUMP), *stitched[3:]]
    sewn, cut = through_dst(stitched, tmp_path), through_dst(jumped, tmp_path)
    assert (sewn.command == Command.JUMP).any()
    assert len(written_as_jumps(sewn)) == 1
    assert len(written_as_jumps(cut)) == 0
    assert not links_of(sewn)[1:].any()
    assert links_of(cut)[1:].any()


def test_parts_that_only_such_jumps_divide_are_one_piece(tmp_path):
    stream = through_dst(
        [(0, 0, pe.STITCH), (30, 0, pe.STITCH), (210, 0, pe.STITCH), (240, 0, pe.STITCH)], tmp_path
    )
    stitches = stream.stitch_index
    split = int(stitches[np.flatnonzero(np.diff(stitches) > 1)[0]]) + 1
    after = int(stitches[stitches >= split][0])
    parts = (Part(Role.TOP, int(stitches[0]), split), Part(Role.TOP, after, len(stream) - 1))
    (obj,) = plan_of(stream, [SewnObject(0, Kind.RUN, 0, parts)])
    assert len(obj.pieces) == 1
    assert len(obj.points()) == len(stitches)

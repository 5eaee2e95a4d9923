"""What every reading must satisfy, whatever the file."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from infer.streams import case, laid_out, moved, stream_of
from restitch.infer import infer
from restitch.infer.document import inspect_document
from restitch.model import Command, Stream, read_only

SOME = [
    ("harbour_shield", 3, "exp"),
    ("wreath", 8, "dst"),
    ("cap_name", 7, "vp3"),
    ("line_sampler", 1, "pes"),
    ("applique", 2, "pes"),
    ("lace", 5, "jef"),
    ("small_lines", 5, "u01", "uncut"),
    ("sail_day", 3, "dst", "overlong"),
    ("rowing", 4, "jef", "doubled", "scrambled"),
]


@pytest.mark.parametrize("key", SOME, ids=lambda k: "-".join(map(str, k)))
def test_every_stitch_belongs_to_exactly_one_part_in_sewing_order(key) -> None:
    stream = case(*key).stream()
    objects = infer(stream)
    read = laid_out(stream, objects)
    assert ((read.object >= 0) == (stream.command == Command.STITCH)).all()
    assert [o.id for o in objects] == list(range(len(objects)))
    starts = [o.start for o in objects]
    assert starts == sorted(starts)
    for obj in objects:
        blocks = stream.block_of_record[obj.start : obj.stop]
        assert (blocks == obj.block).all()
        assert 0.0 <= obj.confidence <= 1.0


def test_reading_twice_gives_the_same_objects() -> None:
    stream = case("harbour_shield", 3).stream()
    assert infer(stream) == infer(stream)


@st.composite
def scribbles(draw) -> Stream:
    """Streams of any commands at any places: nothing a digitizer would have made."""
    count = draw(st.integers(1, 60))
    place = st.integers(-300, 300)
    xy = draw(st.lists(st.tuples(place, place), min_size=count, max_size=count))
    commands = st.sampled_from([0, 0, 0, 0, 0, 0, 1, 2, 3])
    command = draw(st.lists(commands, min_size=count, max_size=count))
    plain = stream_of(np.array([[0, 0]]))
    return Stream(
        read_only(np.array(xy, np.int32)),
        read_only(np.array(command, np.uint8)),
        plain.threads,
    )


@settings(max_examples=60, deadline=None)
@given(scribbles())
def test_any_stream_can_be_read(stream: Stream) -> None:
    objects = infer(stream)
    read = laid_out(stream, objects)
    assert ((read.object >= 0) == (stream.command == Command.STITCH)).all()
    assert len(inspect_document(stream, objects)["objects"]) == len(objects)


def test_an_empty_stream_has_no_objects() -> None:
    stream = Stream(np.zeros((0, 2), np.int32), np.zeros(0, np.uint8), ())
    assert infer(stream) == ()


def signature(objects) -> list[tuple]:
    return [(o.kind, o.start, o.stop, o.open, o.copy_of, len(o.parts)) for o in objects]


@settings(max_examples=6, deadline=None)
@given(st.integers(-5000, 5000), st.integers(-5000, 5000))
def test_where_the_design_lies_does_not_matter(dx: int, dy: int) -> None:
    stream = case("rowing", 4).stream()
    there = infer(moved(stream, lambda xy: xy + np.array([dx, dy])))
    kinds = [(o.kind, o.start, o.stop) for o in infer(stream)]
    # cells of the overlap tests shift with the frame, so a doubtful point may change its role
    assert [(o.kind, o.start, o.stop) for o in there] == kinds


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_a_quarter_turn_does_not_matter(turns: int) -> None:
    stream = case("rowing", 4).stream()
    quarter = np.linalg.matrix_power(np.array([[0, 1], [-1, 0]]), turns)
    there = laid_out(stream, infer(moved(stream, lambda xy: xy @ quarter)))
    here = laid_out(stream, infer(stream))
    stitch = here.object >= 0
    assert (there.kind == here.kind)[stitch].mean() == 1.0
    assert (there.role == here.role)[stitch].mean() > 0.995
    assert (there.object == here.object)[stitch].mean() > 0.995


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 1000))
def test_a_tenth_of_a_millimetre_of_jitter_changes_little(seed: int) -> None:
    stream = case("harbour_shield", 3).stream()
    shake = np.random.default_rng(seed).integers(-1, 2, stream.xy.shape)
    here = laid_out(stream, infer(stream))
    there = laid_out(stream, infer(moved(stream, lambda xy: xy + shake)))
    stitch = here.object >= 0
    assert (there.kind == here.kind)[stitch].mean() > 0.99
    assert (there.role == here.role)[stitch].mean() > 0.97
    assert (there.layer > 0)[stitch].mean() < 0.01

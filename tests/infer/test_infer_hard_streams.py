"""Streams that were scaled, moved about or stripped of their jumps are read as before."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from infer.streams import ROLES, case, laid_out, macro_f1, moved, stream_of
from restitch.infer import infer
from restitch.model import Command, Kind, Stream, read_only
from stitched import column, run


def kinds_f1(found, stream: Stream, record=slice(None)) -> float:
    """Macro-F1 of kinds over the covering and underlying stitches of a case's sound file."""
    sewn = found.twin
    read = laid_out(stream, infer(stream))
    true = np.array([found.kinds[a] if a >= 0 else "" for a in sewn.art], object)[record]
    body = np.isin(sewn.role, ("top", "underlay"))[record] & (stream.command == Command.STITCH)
    return macro_f1(true[body], read.kind[body])


@pytest.mark.parametrize("factor", [0.7, 1.3])
@pytest.mark.parametrize("drawing", ["pennant", "signal_flags"])
def test_split_satins_stay_satins_when_a_design_is_scaled(drawing: str, factor: float) -> None:
    found = case(drawing, 601)
    assert kinds_f1(found, moved(found.stream(twin=True), lambda xy: factor * xy)) > 0.95


@pytest.mark.parametrize("drawing", ["line_sampler", "rigging", "buoys"])
def test_bean_stitches_stay_runs_when_every_point_is_off_a_little(drawing: str) -> None:
    found = case(drawing, 602)
    rng = np.random.default_rng(1)
    stream = moved(found.stream(twin=True), lambda xy: xy + rng.uniform(-1, 1, xy.shape))
    assert kinds_f1(found, stream) > 0.95


@pytest.mark.parametrize("drawing", ["applique", "lace", "rowing", "tideline"])
def test_objects_are_parted_by_their_ties_where_jumps_are_lost(drawing: str) -> None:
    found = case(drawing, 603)
    stream = found.stream(twin=True)
    keep = ~np.isin(stream.command, (Command.JUMP, Command.TRIM))
    bare = replace(
        stream, xy=read_only(stream.xy[keep]), command=read_only(stream.command[keep]), data=None
    )
    assert kinds_f1(found, bare, keep) > 0.94
    arts = len(set(found.twin.art[found.twin.role == "top"].tolist()))
    assert abs(len(infer(bare)) - arts) <= 0.1 * arts


def test_ties_of_a_design_scaled_up_are_found() -> None:
    found = case("rope_badge", 604)
    stream = moved(found.stream(twin=True), lambda xy: 1.4 * xy)
    read = laid_out(stream, infer(stream))
    true = found.twin.role == "tie"
    assert (read.role[true] == ROLES.index("tie")).mean() > 0.95


def test_columns_that_end_in_points_are_satins_with_one_border_each() -> None:
    found = case("herring", 605)
    stream = found.stream(twin=True)
    objects = infer(stream)
    assert {o.kind for o in objects} == {Kind.SATIN}
    assert len(objects) == len(found.kinds)


def test_a_line_and_the_column_over_it_are_two_where_a_stop_lies_between() -> None:
    line, cover = run([(0, 0), (40, 0)]), column(40, 3)
    together = stream_of(line, cover)
    assert len(infer(together)) == 1
    place = int(np.flatnonzero(together.command == Command.TRIM)[0])
    command = together.command.copy()
    command[place] = Command.STOP
    assert len(infer(replace(together, command=read_only(command)))) == 2

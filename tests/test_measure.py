"""Figures of a stream, against hand counts and published rules of thumb."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.fabrics.model import Limits, Machine
from restitch.measure import MeasureSettings, measure, saved
from restitch.model import Command, Stream, Thread

YARD_M = 0.9144
QUICK = Machine(speed_spm=1000.0)


def stream(*records: tuple[int, int, Command]) -> Stream:
    rows = np.array(records, dtype=np.int64).reshape(-1, 3)
    changes = int(np.count_nonzero(rows[:, 2] == Command.COLOR_CHANGE))
    return Stream(
        xy=rows[:, :2].astype(np.int32),
        command=rows[:, 2].astype(np.uint8),
        threads=(Thread(0x204060),) * (changes + 1),
    )


def running(stitches: int, step: int = 25) -> Stream:
    return stream(*((step * i, 0, Command.STITCH) for i in range(stitches)))


def stitches(*points: tuple[int, int]) -> list[tuple[int, int, Command]]:
    return [(x, y, Command.STITCH) for x, y in points]


def test_counts_by_hand() -> None:
    figures = measure(
        stream(
            *stitches((0, 0), (30, 40), (30, 42)),
            (60, 42, Command.JUMP),
            *stitches((90, 42), (90, 172)),
            (90, 172, Command.TRIM),
            (90, 272, Command.JUMP),
            *stitches(
                (90, 272),
            ),
            (90, 272, Command.COLOR_CHANGE),
            *stitches((90, 277), (90, 297)),
            (90, 297, Command.STOP),
            *stitches((90, 297), (110, 297)),
            (110, 297, Command.END),
        )
    )
    assert figures.stitches == 10
    # 6 mm to the jump's end, 10 mm after the trim; 0.5 mm at the colour change is no jump
    assert (figures.jumps, figures.jump_mm) == (2, pytest.approx(16.0))
    assert (figures.trims, figures.colour_changes, figures.stops) == (1, 1, 1)
    assert figures.thread_laid_m == pytest.approx((5 + 0.2 + 13 + 2 + 2) / 1000)
    assert (figures.short_stitches, figures.long_stitches) == (1, 1)
    assert figures.long_untrimmed_jumps == 1
    assert (figures.width_mm, figures.height_mm) == (11.0, 29.7)
    assert [block.stitches for block in figures.blocks] == [6, 4]


@pytest.mark.parametrize(("stitch_count", "speed", "minutes"), [
    (10_000, 1000.0, 10.0),  # Printwear, Mar 2015, p. 61: 10,000 stitches at 1,000 a minute
    (6_000, 750.0, 8.0),  # The Embroidery Warehouse: 6,000 stitches at 750 ...
    (6_000, 600.0, 10.0),  # ... and at 600 stitches a minute
])  # fmt: skip
def test_run_time_is_stitches_over_speed(stitch_count: int, speed: float, minutes: float) -> None:
    assert measure(running(stitch_count), Machine(speed_spm=speed)).minutes == pytest.approx(
        minutes
    )


def test_time_saved_by_fewer_stitches_and_changes() -> None:
    """Images, "Efficiency in digitising": 26,000 to 22,000 stitches and 12 to 6 changes save over
    five minutes at 1,000 a minute."""
    before = _with_changes(26_000, 12)
    after = _with_changes(22_000, 6)
    less = saved(measure(before, QUICK), measure(after, QUICK))
    assert less["stitches"] == 4_000
    assert less["colour_changes"] == 6
    assert less["minutes"] == pytest.approx(4.0 + 6 * QUICK.colour_change_s / 60, abs=1e-3)
    assert less["minutes"] > 5


def _with_changes(stitch_count: int, changes: int) -> Stream:
    """Stitches of 0.4 mm, so that the step over a colour change is no jump."""
    rows = stitches(*((0, 4 * i) for i in range(stitch_count)))
    every = stitch_count // (changes + 1)
    for k in range(changes, 0, -1):
        rows.insert(k * every, (0, 4 * (k * every - 1), Command.COLOR_CHANGE))
    return stream(*rows)


@pytest.mark.parametrize("metres", [
    22 * YARD_M / 4,  # Sulky: 22 yards for 4,000 stitches
    250 * YARD_M / 44,  # the same compilation: 250 yards, 44,000 stitches
    850 * YARD_M / 156,  # and 850 yards, 156,000 stitches
    1000 / 182 * YARD_M,  # Sewing Machine Fun: 182 stitches a yard
])  # fmt: skip
def test_needle_thread_agrees_with_thread_makers(metres: float) -> None:
    assert measure(running(1000)).needle_m == pytest.approx(metres, rel=0.05)


def test_cone_life() -> None:
    """A 5,000 m cone sews about a million stitches (Madeira's 5 m for 1,000)."""
    per_stitch_m = measure(running(1000)).needle_m / 1000
    assert 5_000 / per_stitch_m == pytest.approx(1_000_000)


def test_average_stitch_length_explains_the_thread_rule() -> None:
    """Thread makers assume 4 to 5 mm of thread a stitch; a 4 mm fill row lies inside that."""
    figures = measure(running(1001, step=40))
    assert 4.0 <= figures.thread_laid_m <= figures.needle_m


def test_trims_stops_and_changes_take_their_seconds() -> None:
    plain = running(600)
    machine = Machine(speed_spm=600.0, trim_s=6.0, colour_change_s=20.0, stop_s=30.0)
    rows = np.column_stack([plain.xy, plain.command])
    extra = [[599 * 25, 0, c] for c in (Command.TRIM, Command.STOP, Command.COLOR_CHANGE)]
    busy = stream(*map(tuple, np.vstack([rows, extra])))
    assert measure(plain, machine).minutes == pytest.approx(1.0)
    assert measure(busy, machine).minutes == pytest.approx(1.0 + (6 + 20 + 30) / 60)


def test_speed_in_force_beats_the_machines() -> None:
    assert measure(running(600), QUICK, speed_spm=600.0).minutes == pytest.approx(1.0)


def test_pile_ups_count_holes_not_stitches() -> None:
    six, five, four = [(0, 0)] * 6, [(50, 0)] * 5, [(90, 0)] * 4
    figures = measure(stream(*stitches(*six, *five, *four)))
    assert figures.pile_ups == 2
    assert measure(stream(*stitches(*six)), limits=Limits(pile_up=6)).pile_ups == 0


def test_ties_at_both_ends() -> None:
    lock = [(0, 0), (8, 0), (0, 0), (8, 0)]
    body = [(8 + 30 * i, 0) for i in range(1, 6)]
    end = [(158, 0), (150, 0), (158, 0), (150, 0)]
    tied = measure(stream(*stitches(*lock, *body, *end)))
    loose = measure(stream(*stitches(*body)))
    assert (tied.tied_starts, tied.tied_ends, tied.thread_ends, tied.loose_ends) == (1, 1, 1, 0)
    assert (loose.tied_starts, loose.tied_ends, loose.loose_ends) == (0, 0, 2)


@pytest.mark.parametrize("count", [0, 1, 2])
def test_tiny_streams(count: int) -> None:
    figures = measure(running(count))
    assert figures.stitches == count
    assert np.isfinite(figures.minutes)
    json.dumps(figures.as_dict())


def test_json_has_every_block() -> None:
    plain = measure(_with_changes(100, 3), QUICK).as_dict()
    assert [block["block"] for block in plain["blocks"]] == [0, 1, 2, 3]
    assert sum(block["stitches"] for block in plain["blocks"]) == plain["stitches"]


points = st.lists(
    st.tuples(st.integers(-400, 400), st.integers(-400, 400)), min_size=2, max_size=60
)
commands = st.sampled_from(
    [Command.STITCH] * 6 + [Command.JUMP, Command.TRIM, Command.COLOR_CHANGE]
)


@settings(max_examples=60, deadline=None)
@given(points, st.data())
def test_totals_are_the_sum_of_the_blocks_and_shifts_change_nothing(
    where: list[tuple[int, int]], data: st.DataObject
) -> None:
    plan = data.draw(st.lists(commands, min_size=len(where), max_size=len(where)))
    design = stream(*((x, y, c) for (x, y), c in zip(where, plan, strict=True)))
    figures = measure(design)
    assert sum(block.stitches for block in figures.blocks) == figures.stitches
    assert sum(block.jump_mm for block in figures.blocks) == pytest.approx(figures.jump_mm)
    laid = sum(block.thread_laid_m for block in figures.blocks)
    assert laid == pytest.approx(figures.thread_laid_m)
    moved = measure(replace(design, xy=design.xy + np.int32(37)))
    assert moved == figures
    assert all(value == 0 for value in saved(figures, moved).values())


def test_settings_are_the_home_of_the_thread_rule() -> None:
    figures = measure(running(2000), settings=MeasureSettings(needle_m_per_1000=4.0))
    assert figures.needle_m == pytest.approx(8.0)

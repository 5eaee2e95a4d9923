"""Worked examples of the trade that estimate: counts per area, output, thread, weights, reach.

Row numbers are those of `test_worked_examples`; stitches are laid, then counted by our own
functions. The sources are the published articles and handbooks named beside each.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from restitch.fabrics import fabric
from restitch.fabrics.model import Machine
from restitch.fabrics.trade import tex_of_denier
from restitch.files import encode
from restitch.geometry import ladder
from restitch.measure import Figures, measure
from restitch.model import Command, Kind, Role, Stream, Thread
from restitch.stitch.column import column_underlay
from restitch.stitch.satin import relaid_satin
from stitched import column, piece, planned, units

INCH_MM = 25.4
NEVER_MM = 99.0


def stream_of(*parts: np.ndarray) -> Stream:
    """Stretches of needle points, the thread cut between them."""
    xy, command = [], []
    for number, part in enumerate(parts):
        if number:
            xy.append(part[:1])
            command.append([Command.TRIM])
        xy.append(part)
        command.append([Command.STITCH] * len(part))
    return Stream(
        np.concatenate(xy).astype(np.int32),
        np.concatenate(command).astype(np.uint8),
        (Thread(0x203040),),
        "dst",
    )


def rows(width_mm: float, height_mm: float, pitch_mm: float, stitch_mm: float) -> np.ndarray:
    """Needle points of rows of equal stitches, 0.1 mm; the pitch is that of two rows."""
    points = []
    for n in range(round(height_mm / (pitch_mm / 2))):
        along = np.arange(0.0, width_mm - 1e-9, stitch_mm)
        along = along if n % 2 == 0 else along[::-1]
        points.append(np.stack([along, np.full(len(along), n * pitch_mm / 2)], axis=1))
    return units(np.concatenate(points))


def per_area(pitch_mm: float, stitch_mm: float, unit_mm: float) -> float:
    """Stitches to a square of that unit, counted in a hundred of them."""
    side = 10 * unit_mm
    return measure(stream_of(rows(side, side, pitch_mm, stitch_mm))).stitches / 100


def stitch_for(per_unit: float, unit_mm: float, pitch_mm: float = 0.40) -> float:
    """Stitch length of rows at a pitch that gives a published count to a square unit."""
    return unit_mm**2 / (per_unit * pitch_mm / 2)


@pytest.mark.parametrize(("per_cm", "spacing"), [(53, 0.377), (57, 0.351), (60, 0.333)])
def test_e4_wide_satin_by_its_stitches_per_cm(per_cm, spacing):
    """E4: 53, 57 and 60 stitches a cm in columns over 3 mm mean 0.377, 0.351 and 0.333 mm bare
    (Harris, 1990 seminar) ..."""
    count = 6 * per_cm
    across = np.where(np.arange(count) % 2 == 0, 0.0, 45.0)
    # not rounded to the file's step: that alone moves 0.333 to 0.342
    drawn = np.stack([np.arange(count) * 100 / per_cm, across], axis=1)
    assert ladder(drawn).satin_spacing_mm == pytest.approx(spacing, abs=0.001)


def test_e4_or_the_same_counts_at_040_with_underlay():
    """... or 0.40 mm and 3 to 10 stitches of underlay a cm: our edge run makes it 59."""
    cover = ladder(column(100, 3.5, 0.40))
    rule = replace(fabric("twill").underlay, zigzag_from_mm=None)
    laid = stream_of(column_underlay(cover, rule), units(cover.xy_mm))
    assert 53 <= measure(laid).stitches / 10 <= 60


@pytest.mark.parametrize(("per_inch", "between"), [(12, 2.12), (18, 1.41)])
def test_e6_applique_zigzag(per_inch, between):
    """E6: 12 to 18 stitches an inch lie 2.12 to 1.41 mm apart (Levy, Printwear Sept 2017). It is
    open on purpose: no spacing to judge."""
    from restitch.check.judge_spacing import spacing_mm

    zigzag = column(10 * INCH_MM, 3.0, 2 * INCH_MM / per_inch)
    assert measure(stream_of(zigzag)).stitches / 10 == pytest.approx(per_inch, rel=0.02)
    assert ladder(zigzag).satin_spacing_mm / 2 == pytest.approx(between, abs=0.02)
    assert spacing_mm(planned(Kind.SATIN, piece(zigzag, Role.TOP))) is None


def test_e7_a_base_layer_is_a_third_of_full_density():
    """E7: 939 stitches to the square inch, 313 in a base layer (Caroselli-Barnes, Impressions
    2013): the same stitch at three times the spacing."""
    stitch = stitch_for(939, INCH_MM)
    assert per_area(0.40, stitch, INCH_MM) == pytest.approx(939, rel=0.01)
    assert per_area(1.20, stitch, INCH_MM) == pytest.approx(313, rel=0.01)
    assert ladder(rows(30, 30, 1.20, stitch)).fill_spacing_mm == pytest.approx(1.20, abs=0.02)


@pytest.mark.parametrize(("per_cm2", "per_inch2"), [(110, 710), (130, 839), (160, 1032)])
def test_e9_fill_stitches_per_cm2_and_per_square_inch(per_cm2, per_inch2):
    """E9: 110, 130 and 160 stitches to the cm2 are 710, 839 and 1,032 to the square inch (Harris,
    1990 seminar)."""
    stitch = stitch_for(per_cm2, 10.0)
    assert per_area(0.40, stitch, 10.0) == pytest.approx(per_cm2, rel=0.03)
    assert per_area(0.40, stitch, INCH_MM) == pytest.approx(per_inch2, rel=0.02)
    # what the figures mean: stitches of 3.1 to 4.5 mm, as fills have them
    assert 3.0 < stitch < 4.6


def test_e10_a_whole_design():
    """E10: 5 square inches of fill at 1,200, 28 inches of border at 150 and 8 letters of 100
    stitches are 11,000 (Petite Republic, worked estimate)."""
    fill = rows(5 * INCH_MM, INCH_MM, 0.40, stitch_for(1200, INCH_MM))
    border = column(28 * INCH_MM, 3.0, 2 * INCH_MM / 150, y=60)
    letters = [column(20.0, 1.2, 0.40, x=10 * i, y=90, angle_deg=90) for i in range(8)]
    counts = [measure(stream_of(part)).stitches for part in (fill, border)]
    assert counts[0] == pytest.approx(6000, rel=0.02)
    assert counts[1] == pytest.approx(4200, rel=0.01)
    assert measure(stream_of(fill, border, *letters)).stitches == pytest.approx(11_000, rel=0.015)


def test_e11_a_quarter_inch_square():
    """E11: at 2,000 stitches to the square inch a quarter inch square takes 125 (Freya Royal)."""
    stitch = stitch_for(2000, INCH_MM)
    square = rows(INCH_MM / 4, INCH_MM / 4, 0.40, stitch)
    assert measure(stream_of(square)).stitches == pytest.approx(125, abs=5)


def thousand() -> Figures:
    return measure(stream_of(column(199.8, 3.0, 0.40)))


def test_e14_a_cone_lasts_a_million_stitches():
    """E14: 5,000 m at 5 m for 1,000 stitches (Madeira glossary)."""
    figures = thousand()
    assert figures.stitches == 1000
    assert 5000 / figures.needle_m * figures.stitches == pytest.approx(1_000_000)


def test_e15_thread_mass():
    """E15: 5 m of 26.7 tex weigh 0.133 g (Madeira; Superior Threads): tex is grams a kilometre."""
    grams = thousand().needle_m / 1000 * tex_of_denier(240)
    assert grams == pytest.approx(0.133, abs=0.0005)


def test_e18_a_whole_design_in_60_weight():
    """E18: 60 weight needs a quarter more stitches, 12,500 for 10,000, at 0.32 in place of
    0.40 mm (Wolf, Impressions 2016)."""
    heavy = column(1999.8, 3.0, 0.40)
    assert measure(stream_of(heavy)).stitches == 10_000
    fine = relaid_satin(ladder(heavy), 0.40 / 1.25, NEVER_MM)
    assert measure(stream_of(fine)).stitches == pytest.approx(12_500, abs=3)
    assert ladder(fine).satin_spacing_mm == pytest.approx(0.32, abs=0.004)


def test_e19_the_same_column_laid_anew_for_leather():
    """E19: 50 mm at 0.50 mm in place of 0.40: 200 penetrations, not 250 (Decorated Apparel
    Survival Guide)."""
    woven = ladder(column(49.8, 3.0, 0.40))
    assert len(woven.xy_mm) == 250
    anew = relaid_satin(woven, fabric("leather").satin_spacing_mm, NEVER_MM)
    assert len(anew) == pytest.approx(200, abs=1)


def minutes_of(stitches: int, changes: int) -> float:
    """Machine minutes of a design at 1,000 stitches a minute."""
    blocks = np.array_split(column(stitches * 0.2 - 0.2, 3.0, 0.40), changes + 1)
    stream = stream_of(*blocks)
    command = np.where(stream.command == Command.TRIM, Command.COLOR_CHANGE, stream.command)
    threads = tuple(Thread(n) for n in range(changes + 1))
    whole = replace(stream, command=command.astype(np.uint8), threads=threads)
    return measure(whole, Machine(speed_spm=1000)).minutes


def test_e23_runs_in_a_shift():
    """E23: 17 runs in 480 minutes with 26,000 stitches and 12 changes; 4,000 stitches and 6 changes
    less make it 21, that is 252 garments on 12 heads (Campbell, Images)."""
    before, after = minutes_of(26_000, 12), minutes_of(22_000, 6)
    assert before == pytest.approx(28.2, abs=0.3)
    assert after == pytest.approx(22.9, abs=0.4)
    assert [round(480 / before), round(480 / after)] == [17, 21]
    assert round(480 / after) * 12 == 252


def test_e24_thirty_six_jacket_backs_on_one_head():
    """E24: 36 times 80,000 stitches at 1,000 a minute are 48 hours: more than two working days
    (Graphics Pro, Feb 2021)."""
    assert 36 * minutes_of(80_000, 0) / 60 == pytest.approx(48.0, rel=0.001)


def test_e28_what_one_dst_record_reaches():
    """E28: 81 + 27 + 9 + 3 + 1 = 121 units, 12.1 mm each way (pyembroidery's writer): on the
    diagonal 17.1 mm, over what a machine sews, so it is the length that counts."""

    def records(reach: int) -> int:
        xy = units([[0, 0], [2, 0], [2 + reach / 10, reach / 10], [4, 0]])
        read = encode(stream_of(xy), "dst").stream
        return int(np.count_nonzero(read.command <= Command.JUMP))

    assert records(122) > records(121) == records(20)
    diagonal = units([[0, 0], [12.1, 12.1]])
    assert np.hypot(*(np.diff(diagonal, axis=0)[0] / 10)) == pytest.approx(17.1, abs=0.02)
    assert measure(stream_of(diagonal)).long_stitches == 1
    assert measure(stream_of(units([[0, 0], [12.1, 0]]))).long_stitches == 0


def test_e29_three_coincident_satins_are_three_layers():
    """E29: three satins at 0.40 mm one over the other are 3.0 layers, at the limit; four are over
    it (a course at 0.40 mm is 5 mm of thread to the mm2: Campbell; three layers at most: Printwear
    & Promotion)."""
    from restitch.look import frame_around, stack_height

    limit = fabric("twill").layers
    assert limit == 3.0
    for count in (3, 4):
        one = column(30, 5.0, 0.40)
        stream = stream_of(*[one[:: -1 if n % 2 else 1] for n in range(count)])
        layers = stack_height(stream, frame_around(stream)).layers
        middle = layers[layers.shape[0] // 2, layers.shape[1] // 4 : -layers.shape[1] // 4]
        assert middle.mean() == pytest.approx(count, rel=0.05)


def test_e30_backing():
    """E30: 2.5 ounces to the square yard are 84.8 g/m2: the medium cut-away that Blue Moon sells
    for pique, 85 g/m2 in our table."""
    grams = 2.5 * 28.3495 / 0.9144**2
    assert grams == pytest.approx(84.8, abs=0.05)
    assert f"{grams:.0f} g/m2" in fabric("pique").backing

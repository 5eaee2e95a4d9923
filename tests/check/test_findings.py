"""Every finding on stitching built for it, and none on sound stitching."""

import re
from dataclasses import replace

import numpy as np
import pytest

from restitch.check import check, finders, over_limits, summary
from restitch.check.findings import (
    column_width,
    hoop,
    layers,
    lettering,
    pile_up,
    stitch_count,
    stitch_length,
    surplus,
    untied,
    untrimmed,
)
from restitch.check.survey import Survey
from restitch.fabrics.model import Machine
from restitch.model import Command, Kind, Role, read_only
from stitched import column, fill, sewn, units


def survey_of(*objects, machine=None, **fields):
    _, context = sewn(*objects, **fields)
    profile = context.profile
    if machine is not None:
        profile = replace(profile, machine=machine)
    return Survey(context.source, tuple(context.objects.values()), profile)


def satin(*args, **fields):
    return (Kind.SATIN, [(Role.TOP, column(*args, **fields))])


def names(found):
    return [f.name for f in found]


def test_stacked_satin_costs_its_lower_layers():
    below, top = column(30, 2.5), column(30, 3)
    found = list(surplus.find(survey_of((Kind.SATIN, [(Role.TOP, below, 1), (Role.TOP, top)]))))
    assert names(found) == ["stacked satin"]
    assert (found[0].stitches, found[0].layers, found[0].fix) == (len(below), 1, "stack")
    assert found[0].minutes == pytest.approx(len(below) / 850, abs=1e-3)


def test_doubled_and_hidden_objects_go_whole():
    one = satin(30, 3)
    found = list(surplus.find(survey_of(one, one, copy_of={1: 0})))
    assert names(found) == ["doubled object"]
    assert found[0].objects == (1, 0)
    hidden = list(surplus.find(survey_of(one, satin(30, 3, y=9), hidden={0: True})))
    assert names(hidden) == ["hidden stitching"]


def test_four_layers_are_over_three_and_curable():
    # four coincident satins at 0.40 mm are four layers, one over the published three
    top = column(30, 5)
    # each layer sews back over the one before
    stretches = [(Role.TOP, top[:: -1 if depth % 2 else 1], depth) for depth in (3, 2, 1, 0)]
    found = list(layers.find(survey_of((Kind.SATIN, stretches))))
    assert names(found) == ["layers over the limit"]
    assert found[0].severity == "fault"
    assert found[0].fix == "stack"
    assert 0.6 < found[0].layers < 1.8
    assert not list(layers.find(survey_of(satin(30, 5))))


def test_overlapping_artwork_is_a_warning():
    stack = [satin(30, 5, y=0.1 * i) for i in range(4)]
    found = list(layers.find(survey_of(*stack)))
    assert {f.severity for f in found} == {"warning"}


def test_short_and_long_stitches():
    wide = column(20, 9)
    short = np.concatenate([column(20, 3), units([[20.1, 1.6], [20.1, 1.5]])])
    found = list(
        stitch_length.find(
            survey_of((Kind.SATIN, [(Role.TOP, wide)]), (Kind.SATIN, [(Role.TOP, short)]))
        )
    )
    assert [(f.name, f.objects) for f in found if f.severity == "fault"] == [
        ("stitch too long", (0,)),
        ("stitch too short", (1,)),
    ]


def test_pile_up_in_a_column_is_a_fault_in_a_run_a_note():
    zig = column(10, 3)
    spot = np.tile(zig[20:21], (1, 1))
    back = np.concatenate([zig[:21], *[x for _ in range(5) for x in (zig[18:19], spot)], zig[21:]])
    found = list(pile_up.find(survey_of((Kind.SATIN, [(Role.TOP, back)]))))
    assert found[0].severity == "fault"
    assert found[0].fix == "lengths"
    bean = np.concatenate([units([[0, 0], [2.5, 0]])] * 5 + [units([[5, 0]])])
    assert {f.severity for f in pile_up.find(survey_of((Kind.RUN, [(Role.TOP, bean)])))} == {"note"}


def test_columns_out_of_width():
    found = list(
        column_width.find(survey_of(satin(20, 0.6), satin(20, 3, y=9), satin(20, 14, y=30)))
    )
    assert [(f.name, f.objects) for f in found] == [
        ("column too narrow", (0,)),
        ("column too wide", (2,)),
    ]
    assert not over_limits(found)


def test_untied_ends_and_untrimmed_jumps():
    survey = survey_of(satin(20, 3), satin(20, 3, x=40))
    assert [f.objects for f in untied.find(survey)] == [(0,), (1,)]
    assert not list(untrimmed.find(survey))
    command = np.where(survey.stream.command == Command.TRIM, Command.JUMP, survey.stream.command)
    loose = replace(survey.stream, command=read_only(command.astype(np.uint8)))
    found = list(untrimmed.find(Survey(loose, survey.objects, survey.profile)))
    assert [f.objects for f in found] == [(0, 1)]
    assert found[0].place_mm == pytest.approx((0.0, 0.0), abs=1.6)


def test_a_tied_column_is_not_loose():
    top = column(20, 3)
    lock = np.array([[0, 0], [8, 0], [4, 3], [0, 0]])
    parts = [(Role.TIE, top[0] + lock), (Role.TOP, top), (Role.TIE, top[-1] + lock)]
    assert not list(untied.find(survey_of((Kind.SATIN, parts))))


def test_larger_than_the_hoop_is_a_warning_that_offers_a_turn():
    def said(hoop_mm):
        machine = Machine(hoop_mm=hoop_mm)
        return [f.text for f in hoop.find(survey_of(satin(60, 3), machine=machine))]

    assert not said((60, 60))
    assert "Turned by 90 degrees it fits" in said((40, 80))[0]
    assert "cannot be made smaller" in said((40, 40))[0]
    cap = list(hoop.find(survey_of(satin(80, 3, angle_deg=90), fabric="cap")))
    assert names(cap) == ["larger than the hoop"]


def test_more_stitches_than_light_cloth_bears():
    """Over 10,000 stitches pull on T-shirt jersey (one shop's rule); 2,500 to the square inch is
    a whole logo with its detail (Freya Royal)."""

    def found(fabric, *objects):
        return list(stitch_count.find(survey_of(*objects, fabric=fabric)))

    block = [(Kind.FILL, [(Role.TOP, fill(120, 25, y=30 * i))]) for i in range(3)]
    count = sum(len(stretches[0][1]) for _, stretches in block)
    assert count > 10_000
    (many,) = found("jersey", *block)
    assert (many.severity, many.fix) == ("warning", None)
    assert f"{count:,} stitches" in many.text
    per_cm2 = count / (3 * 12 * 2.5)
    told = re.search(r"(\d+) to the cm2", many.text)
    assert float(told[1]) == pytest.approx(per_cm2, rel=0.02)
    assert "smaller design" in many.text
    stacked = [(Kind.FILL, [(Role.TOP, fill(60, 25))]) for _ in range(7)]
    (close,) = found("jersey", *stacked)
    assert "surplus" in close.text
    assert not found("twill", *block)
    assert not found("jersey", *block[:2])


def bars(height, count=5, step=5.0):
    return [satin(height, 1.2, x=step * i, angle_deg=90) for i in range(count)]


@pytest.mark.parametrize(
    ("fabric", "height", "small"), [("twill", 4, 1), ("twill", 6, 0), ("fleece", 6, 1)]
)
def test_small_lettering(fabric, height, small):
    # 5 mm on firm cloth (Graphics Pro; Images), 6.4 mm on fleece (Ignition Drawing)
    found = list(lettering.find(survey_of(*bars(height), fabric=fabric)))
    assert len(found) == small
    if found:
        assert found[0].severity == "warning"
        assert found[0].objects == (0, 1, 2, 3, 4)


def test_findings_are_ranked_and_added_up():
    stretches = [(Role.TOP, column(30, 3), 1), (Role.TOP, column(30, 3))]
    _, context = sewn((Kind.SATIN, stretches), satin(20, 0.6, y=9))
    found = check(context.source, tuple(context.objects.values()), context.profile)
    rank = [("fault", "warning", "note").index(f.severity) for f in found]
    assert rank == sorted(rank)
    assert over_limits(found)
    causes = summary(found)
    assert sum(c.places for c in causes) == len(found)
    assert causes[0].minutes == max(c.minutes for c in causes)
    assert check(context.source, tuple(context.objects.values()), context.profile) == found


@pytest.mark.parametrize("name", sorted(finders()))
def test_every_finding_takes_small_and_odd_designs(name):
    find = finders()[name]
    dot = (Kind.RUN, [(Role.TOP, units([[0, 0]]))])
    same = (Kind.SATIN, [(Role.TOP, units([[1, 1]] * 12))])
    for objects in ([dot], [same], [dot, same], [(Kind.FILL, [(Role.TOP, fill(10, 5))])]):
        for finding in find(survey_of(*objects)):
            assert finding.severity in {"fault", "warning", "note"}
            assert finding.text.endswith((".", "wash."))

"""Ends exposed and far joins on invented designs: every planted one found, none in a sound one."""

from __future__ import annotations

import pytest
from invented import planned

from designs import make_case
from restitch.check.judge_joins import JoinRules, joins, scatter
from restitch.check.judge_layering import buried_pairs
from restitch.geometry import outline


def swapped(plan):
    """Pairs that a rule would turn round, with the rule."""
    place = {o.id: i for i, o in enumerate(plan)}
    found = buried_pairs(plan, {o.id: outline(o) for o in plan})
    return {(p.before, p.after): p.rule for p in found if place[p.before] > place[p.after]}


@pytest.mark.parametrize("drawing", ["compass_rose", "bakehouse", "lighthouse"])
def test_every_planted_exposed_end_is_found(drawing: str) -> None:
    plan, _ = planned(drawing, breakers=("over_border",))
    defects = make_case(drawing, 3, breakers=("over_border",)).plan.defects
    planted = {tuple(pair) for d in defects for pair in d.detail.get("flipped", ())}
    assert planted
    assert set(swapped(plan)) == planted


@pytest.mark.parametrize("drawing", ["compass_rose", "bakehouse", "harbour_shield", "wreath"])
def test_no_end_is_exposed_in_a_sound_design(drawing: str) -> None:
    assert swapped(planned(drawing)[0]) == {}


def test_a_detail_that_lies_on_a_column_is_no_outlined_fill() -> None:
    # the fish on the shield has an eye: a small fill wholly on a satin
    plan, _ = planned("harbour_shield", breakers=("scrambled", "far_joins"))
    assert "outline" not in swapped(plan).values()


@pytest.mark.parametrize("drawing", ["cap_name", "compass_rose", "wreath", "pennant", "lace"])
def test_far_joins_are_told_from_a_sound_design(drawing: str) -> None:
    sound = joins(planned(drawing)[0])
    far = joins(planned(drawing, breakers=("far_joins",))[0])
    assert sound is not None
    assert far is not None
    assert sound.far < JoinRules().far < far.far


@pytest.mark.parametrize("drawing", ["cap_name", "compass_rose", "wreath"])
def test_a_scrambled_design_is_told_from_a_sound_one(drawing: str) -> None:
    assert scatter(planned(drawing)[0]) < JoinRules().scattered
    assert scatter(planned(drawing, breakers=("scrambled",))[0]) > JoinRules().scattered

"""Findings and fixes judge alike: what is found is what would be changed."""

import pytest

from restitch.check.findings import dense, underlay
from restitch.check.survey import Survey
from restitch.fix import spacing as spacing_fix
from restitch.fix import underlay as underlay_fix
from restitch.model import Kind, Role
from stitched import column, fill, sewn


def survey(context):
    return Survey(context.source, tuple(context.objects.values()), context.profile)


@pytest.mark.parametrize("fabric", ["twill", "jersey", "leather"])
def test_what_is_found_too_dense_is_what_the_fix_opens(fabric):
    plan, context = sewn(
        (Kind.SATIN, [(Role.TOP, column(40, 3, 0.2))]),
        (Kind.SATIN, [(Role.TOP, column(40, 3, 0.45, y=10.0))]),
        (Kind.FILL, [(Role.TOP, fill(40, 20, 0.2, y=20.0))]),
        fabric=fabric,
    )
    found = list(dense.find(survey(context)))
    _, changes = spacing_fix.run(plan, context)
    assert [f.objects[0] for f in found] == [c.objects[0] for c in changes] == [0, 2]
    for finding, change in zip(found, changes, strict=True):
        assert finding.fix == "spacing"
        assert finding.stitches == pytest.approx(change.stitches_saved, rel=0.2)


def test_what_is_found_without_underlay_is_what_the_fix_lays():
    plan, context = sewn((Kind.FILL, [(Role.TOP, fill(40, 20))]))
    found = list(underlay.find(survey(context)))
    _, changes = underlay_fix.run(plan, context)
    assert [f.name for f in found] == [changes[0].cause] == ["missing underlay"]


def test_sound_objects_are_not_found():
    _, context = sewn((Kind.SATIN, [(Role.TOP, column(2, 1.0))]))
    assert not [*dense.find(survey(context)), *underlay.find(survey(context))]

"""Seams: the last pass over a finished stream."""

from dataclasses import replace

import numpy as np

from restitch.fabrics.model import Limits
from restitch.fix.seams import seams
from restitch.model import Kind, Link, Role
from restitch.plan import emit
from restitch.stitch.ties import tie_in, tie_off
from stitched import column, run, sewn, units

LIMITS = Limits()


def sewn_on(obj):
    return replace(obj, pieces=(replace(obj.pieces[0], link=Link.SEWN), *obj.pieces[1:]))


def test_a_seam_leaves_no_stitch_too_short():
    first, second = run([(0, 0), (20, 0)]), run([(20.1, 0), (40, 0)])
    plan, context = sewn((Kind.RUN, [(Role.TOP, first)]), (Kind.RUN, [(Role.TOP, second)]))
    emission = emit((plan[0], sewn_on(plan[1])), context.source)
    tidy = seams(emission, LIMITS, context.source)
    assert len(tidy.stream) == len(emission.stream) - 1
    assert len(tidy.owner) == len(tidy.stream)
    assert seams(tidy, LIMITS, context.source) is tidy


def test_short_stitches_of_the_source_are_not_its_business():
    """They belong to the fix that tells of them."""
    plan, context = sewn((Kind.RUN, [(Role.TOP, units([(0, 0), (5, 0), (5.1, 0), (9, 0)]))]))
    emission = emit(plan, context.source)
    assert seams(emission, LIMITS, context.source) is emission
    assert len(seams(emission, LIMITS).stream) == len(emission.stream) - 1


def test_a_new_tie_steps_out_of_a_crowded_hole():
    ring = run([(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)])
    line = np.concatenate([ring, ring[1:]])
    _, context = sewn((Kind.RUN, [(Role.TOP, line)]))
    tied, _ = sewn(
        (Kind.RUN, [(Role.TIE, tie_in(line)), (Role.TOP, line), (Role.TIE, tie_off(line))])
    )
    emission = emit(tied, context.source)
    tidy = seams(emission, LIMITS, context.source)
    _, counts = np.unique(tidy.stream.xy[tidy.stream.stitch_index], axis=0, return_counts=True)
    assert counts.max() <= LIMITS.pile_up
    assert np.abs(tidy.stream.xy - emission.stream.xy).max() <= 3
    assert seams(tidy, LIMITS, context.source) is tidy


def test_sound_stitching_comes_back_as_it_is():
    plan, context = sewn((Kind.SATIN, [(Role.TOP, column(20, 3))]))
    emission = emit(plan, context.source)
    assert seams(emission, LIMITS, context.source) is emission

"""A plan as the solver sees it: colours, ends and precedence as plain numbers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from restitch.fix.context import Context
from restitch.geometry.overlap import Pair
from restitch.sequence.route import Router
from restitch.sequence.solver import Instance, Solution, Weights, Wish, solve
from restitch.sequence.solver import Sequence as Found

PROOF_WAYS = 60_000
"""Effort spent on a proof inside a fix: about a fifth of a second (our choice)."""


def searched(
    router: Router,
    pairs: Sequence[Pair],
    base: Sequence[int],
    wish: Wish | None,
    context: Context,
) -> Solution:
    """Return the cheapest order found; never worse than ``base`` in the solver's prices."""
    profile = context.profile
    weights = profile.weights
    instance = Instance(
        colour=tuple(router.thread(i) for i in range(len(router.bodies))),
        options=tuple(
            np.hstack([a, b]) for a, b in zip(router.entries_mm, router.exits_mm, strict=True)
        ),
        precedence=tuple(pairs),
        # a cut costs the stop of the needle and the ties too, as where the route is judged
        weights=Weights(
            weights.colour,
            weights.trim + weights.travel * router.rules.settings.jump_mm,
            weights.travel,
        ),
        trim_over_mm=router.rules.trim_over_mm,
        original=Found(tuple(base), (0,) * len(base)),
        option_cost_mm=router.costs_mm,
        wish=wish,
    )
    return solve(instance, kicks=profile.kicks, seed=0, proof_ways=PROOF_WAYS)

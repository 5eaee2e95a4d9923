"""How long the search goes on, and over how many sequences."""

from __future__ import annotations

from typing import NamedTuple

from restitch.sequence.solver.instance import Instance

COPIES = 7
"""Sequences that the rounds asked for are meant for ..."""
COPIES_AND_OBJECTS = 240_000
"""... and no more than this over the square of the objects: large designs need the time for one
(by trial)."""

SPREAD = 20
"""Sequences searched are so many times the root of the rounds for all of them, over the objects
(by trial): the longer the search, the more it has from comparing many ..."""
MOST_COPIES = 32
"""... and no more than this."""
LEAST_COPIES = 4
"""Fewer have too little to give each other (by trial): then no round is given up for them."""

ROUND_PLACES = 500
"""A round costs as much as so many places more than it has (by trial)."""
MERGE_ROUNDS = 60
"""Putting sequences together costs as much as so many rounds (measured), a sixth at the most."""


class Effort(NamedTuple):
    """What is spent on a search."""

    rounds: int
    """Rounds made."""
    copies: int
    """Sequences searched side by side."""


def default_kicks(instance: Instance) -> int:
    """Return how many rounds the search takes by default: 0.2 s for 60 objects, about a second for
    600 and more and where links cost another price backwards (our choice, by trial)."""
    count = max(len(instance), 1)
    if instance.link_price is not None:
        return min(3_000, 1_800_000 // count)
    if len(set(instance.colour)) == 1 and not instance.precedence:
        # lines of one colour: the search needs less, and plotters' tools are quick at them
        return min(max(10 * count, 1_200), 3_000_000 // count)
    return min(max(17 * count, 1_200), 5_000, 6_000_000 // count)


def effort_of(instance: Instance, kicks: int) -> Effort:
    """Return how so many rounds of a few sequences are best spent in about the same time: on more
    sequences and fewer rounds where there are few objects."""
    count = max(len(instance), 1)
    if one_way(instance):
        return Effort(kicks, 1)
    meant = min(COPIES, max(1, COPIES_AND_OBJECTS // count**2))
    copies = min(MOST_COPIES, round(SPREAD * (kicks * meant) ** 0.5 / count))
    if copies < LEAST_COPIES:
        return Effort(kicks, meant)
    rounds = kicks * (ROUND_PLACES + meant * count) // (ROUND_PLACES + copies * count)
    rounds -= min(MERGE_ROUNDS, rounds // 6)
    return Effort(min(kicks, max(1, rounds)), copies)


def one_way(instance: Instance) -> bool:
    """Whether every object has a single option and links have prices of their own."""
    return instance.link_price is not None and len(instance.link_price) == len(instance)

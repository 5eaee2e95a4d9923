"""Files that name no threads have a colour for every block: hundreds, where threads are a dozen."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from restitch.sequence.solver.blocks import MANY_COLOURS, colour_bound, fewest_blocks
from restitch.sequence.solver.precedence import precedence_of

Pairs = set[tuple[int, int]]


def blocks_of(colour: list[int], pairs: Pairs) -> list[list[int]]:
    precedence = precedence_of(len(colour), pairs)
    return fewest_blocks(colour, precedence, colour_bound(colour, precedence), width=12, walks=0)[0]


def is_sewable(blocks: list[list[int]], colour: list[int], pairs: Pairs) -> bool:
    place = {x: k for k, x in enumerate(x for block in blocks for x in block)}
    return (
        sorted(place) == list(range(len(colour)))
        and all(place[a] < place[b] for a, b in pairs)
        and all(len({colour[x] for x in block}) == 1 for block in blocks)
    )


@st.composite
def plans(draw: st.DrawFn) -> tuple[list[int], Pairs]:
    """Objects in a shuffled order of colours that one block each can sew."""
    colours = draw(st.integers(MANY_COLOURS + 1, MANY_COLOURS + 20))
    turn = draw(st.permutations(range(colours)))
    colour = [*range(colours), *draw(st.lists(st.integers(0, colours - 1), max_size=60))]
    some = st.integers(0, len(colour) - 1)
    pairs = {
        (a, b) if turn[colour[a]] < turn[colour[b]] else (b, a)
        for a, b in draw(st.lists(st.tuples(some, some), max_size=120))
        if colour[a] != colour[b]
    }
    return colour, pairs


@given(plans())
@settings(max_examples=60, deadline=None)
def test_a_block_a_colour_is_found_where_there_is_one(plan: tuple[list[int], Pairs]) -> None:
    colour, pairs = plan
    blocks = blocks_of(colour, pairs)
    assert is_sewable(blocks, colour, pairs)
    assert len(blocks) == len(set(colour))


def test_what_lies_between_two_of_a_colour_costs_no_more_than_it_must() -> None:
    # 40 colours, each over and under a thing of the first: the first must be threaded twice
    colour = [0, *range(1, 41), 0]
    pairs = {(0, x) for x in range(1, 41)} | {(x, 41) for x in range(1, 41)}
    blocks = blocks_of(colour, pairs)
    assert is_sewable(blocks, colour, pairs)
    assert len(blocks) == 42


def test_a_chain_of_two_colours_among_many_is_threaded_turn_by_turn() -> None:
    chain = [0, 1] * 6
    colour = [*chain, *range(2, 2 + MANY_COLOURS)]
    pairs = set(pairwise(range(len(chain))))
    blocks = blocks_of(colour, pairs)
    assert is_sewable(blocks, colour, pairs)
    assert len(blocks) == len(chain) + MANY_COLOURS

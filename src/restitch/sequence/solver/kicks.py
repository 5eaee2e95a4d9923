"""Iterated search: disturb the sequence a little, repair it, keep it if it is not worse."""

from __future__ import annotations

from dataclasses import dataclass
from math import log
from random import Random

from restitch.sequence.solver.descent import Descent


@dataclass(frozen=True, slots=True)
class KickSettings:
    """Shares and sizes of the disturbances; all found by trial on made-up designs."""

    window: int = 15
    """Longest stretch of places that one kick disturbs."""
    options: float = 0.45
    """Share of kicks that change the options of one to three objects."""
    temperature: float = 6.0
    """A repair this much worse is kept with chance 1/e at first; falls to 0 with the kicks."""


def iterate(descent: Descent, kicks: int, seed: int, settings: KickSettings) -> float:
    """Improve the descent's tour in place by so many kicks; return what was gained."""
    random = Random(seed)
    tour = descent.tour
    gained = best = 0.0
    best_seq = list(tour.seq)
    tour.log.clear()
    for kick in range(kicks):
        warmth = settings.temperature * (1 - kick / kicks)
        gain = _kick(descent, random, settings) + descent.run()
        chance = random.random()
        if gain >= 0 or (chance and gain > warmth * log(chance)):
            tour.log.clear()
            gained += gain
            if gained > best + 1e-9:
                best, best_seq = gained, list(tour.seq)
        else:
            tour.undo()
    tour.put(0, best_seq)
    tour.log.clear()
    return best


def _kick(descent: Descent, random: Random, settings: KickSettings) -> float:
    """Disturb the tour; return what that gained (seldom more than 0)."""
    what = random.random()
    if what < settings.options:
        return _other_options(descent, random)
    return _swap(descent, *_stretch(descent, random, settings.window))


def _stretch(descent: Descent, random: Random, window: int) -> tuple[int, int, int]:
    """Places low < middle < high, not farther apart than the window, inside the tour."""
    count = len(descent.tour.seq) - 2
    low = 1 + int(random.random() * count)
    middle = low + 1 + int(random.random() * (window // 2))
    high = middle + 1 + int(random.random() * (window // 2))
    high = min(high, count + 1)
    return low, min(middle, high), high


def _swap(descent: Descent, low: int, middle: int, high: int) -> float:
    tour = descent.tour
    if middle >= high or not tour.can_swap(low, middle, high):
        return 0.0
    seq, rows = tour.seq, tour.rows
    left, head, tail = seq[low - 1], seq[low], seq[middle - 1]
    second, last, right = seq[middle], seq[high - 1], seq[high]
    gain = rows[left][head] + rows[tail][second] + rows[last][right]
    gain -= rows[left][second] + rows[last][head] + rows[tail][right]
    if gain < -200:
        return 0.0
    descent.push_around(low, middle)
    descent.push_around(middle, high)
    tour.put(low, seq[middle:high] + seq[low:middle])
    return gain


def _other_options(descent: Descent, random: Random) -> float:
    tour = descent.tour
    count = len(tour.seq) - 2
    at = 1 + int(random.random() * count)
    many = 1 + int(random.random() * 3)
    gain = 0.0
    rows, seq, owner = tour.rows, tour.seq, tour.owner
    for here in range(at, min(at + many, count + 1)):
        x = owner[seq[here]]
        options = descent.options[x]
        o = options[int(random.random() * len(options))]
        before, old, then = seq[here - 1 : here + 2]
        gain += rows[before][old] + rows[old][then] - rows[before][o] - rows[o][then]
        tour.put(here, [o])
        descent.push((owner[before], x, owner[then]))
    return gain

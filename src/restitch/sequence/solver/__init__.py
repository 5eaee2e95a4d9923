"""The sewing order: fewest colour changes, fewest trims, least jump travel.

`solve` takes plain numbers (colour, possible ends and precedence of each object) and returns the
order and the ends; it knows nothing of stitches.
"""

from restitch.sequence.solver.instance import Instance, Sequence, Solution, Weights, Wish
from restitch.sequence.solver.solve import solve

__all__ = ["Instance", "Sequence", "Solution", "Weights", "Wish", "solve"]

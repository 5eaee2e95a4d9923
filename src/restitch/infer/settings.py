"""Every number the reader works with, in one place.

Unless a source is named the figure is our choice, found on generated designs with known objects.
Lengths are millimetres, angles degrees, costs the unit of the least-cost labelling, shares 0..1.
"""

from __future__ import annotations

from typing import NamedTuple


class LadderPrice(NamedTuple):
    """What two strokes in a row pay to count as neighbours in one ladder."""

    pitch_from_mm: float
    pitch_to_mm: float
    """Two-line pitch within these limits is free (trade convention: same side to same side)."""
    turn_slack: float
    """Cosine of the turn back may rise to minus this before it costs."""


class Settings(NamedTuple):
    """The reader's numbers; the defaults are the only set in use.

    A tuple with names: of so many fields a frozen dataclass takes five times as long to make, at
    every start.
    """

    # --- chains ---
    overlong_from_mm: float = 11.5
    """A stitch over the format's 12.1 limit is written as jumps plus a stitch from here ..."""
    overlong_to_mm: float = 25.0
    """... to here; such jumps cut nothing."""
    overlong_short_mm: float = 0.5
    """The last jump of an overlong stitch ends at least this short of its end."""
    overlong_aside_mm: float = 0.25
    """The jumps of an overlong stitch lie this near to its straight line."""

    # --- ties ---
    tie_points: int = 9
    """Needle points looked at from each end of a chain."""
    tie_stitch_mm: float = 1.15
    """Stitches of a tie are at most this long ..."""
    tie_reach_mm: float = 1.15
    """... and stay within this distance of the end."""
    wide_tie_mm: float = 1.5
    """Ties as wide as this are tried too: a design scaled up has larger ones. They count ..."""
    wide_tie_more: float = 0.1
    """... if so many more of the chains are tied with the wide limit ..."""
    wide_tie_many: float = 0.85
    """... and at least this share in all ..."""
    wide_tie_chains: int = 4
    """... of at least so many chains."""
    tie_pair: tuple[int, int] = (7, 11)
    """A tie off and a tie in at one place, without a cut between, make so many short stitches."""
    tie_pair_mm: float = 0.2
    """... each longer than this."""
    tie_return_mm: float = 0.33
    """A tie comes back to within this distance of its first point."""
    tie_exact_mm: float = 0.15
    """A return nearer than this is the end of the tie."""
    tie_same_mm: float = 0.06
    """Of returns that differ by less than this the earliest counts."""
    tie_least: int = 3
    """A tie has at least this many stitches."""
    cluster_stitch_mm: float = 0.85
    """Without a return: at least `tie_least` stitches to this length ..."""
    cluster_next_mm: float = 1.2
    """... followed by one longer than this are a tie as well."""

    # --- strokes ---
    near_mm: float = 0.3
    """Needle points nearer than this to the one before take no part in strokes."""
    turn_deg: float = 100.0
    """A turn over this ends a stroke."""
    sawtooth_deg: float = 55.0
    """Turns over this whose sign alternates at three points in a row end strokes too."""
    step_mm: float = 1.2
    """An edge step between rows is shorter than this ..."""
    step_ratio: float = 1.2
    """... and its neighbours are longer by this factor ..."""
    step_cosine: float = -0.64
    """... and run against each other at least so much."""
    long_step_mm: float = 4.5
    """A step to this length counts between two turns of one sign ..."""
    long_step_deg: float = 45.0
    """... over this angle ..."""
    long_step_cosine: float = -0.9
    """... whose neighbours run against each other so much."""

    hole_mm: float = 0.08
    """Needle points nearer than this are one hole: below the 0.1 mm step of the formats."""
    near_hole_mm: float = 0.4
    """... in a bean stitch whose points were moved since, nearer than this,"""
    bean_stitch_mm: float = 1.0
    """if its stitches are longer than this ..."""
    bean_ahead: float = 0.6
    """... and it goes on by this share of a stitch after a return."""

    # --- links and labels ---
    rounding_mm: float = 0.06
    """An advance below this drowns in 0.1 mm rounding: the mean of five links is used."""
    dense: LadderPrice = LadderPrice(0.07, 0.60, 0.75)
    """Covering satin and fill rows; seen 0.16 to 0.50, median 0.40."""
    open: LadderPrice = LadderPrice(0.62, 9.0, 0.30)
    """Zigzag underlay, lattice, loose zigzag; zigzag underlay seen from 0.65 up."""
    link_cap: float = 5.0
    """No link costs more; where the cap is paid a new ladder starts."""
    run_costs: tuple[float, float, float] = (1.4, 1.0, 0.8)
    """A stroke of one, two, three or more stitches read as run."""
    retrace_run_cost: float = 0.2
    """A stroke that goes back over the one before, read as run."""
    retrace_dense_cost: float = 2.0
    """... and what is added when it is read as part of a dense ladder."""
    open_cost: float = 0.15
    """A stroke read as part of an open ladder."""
    run_stays_cost: float = 0.5
    """Staying in a run where the link looks like a ladder's."""
    switch_cost: float = 2.6
    """Changing between run, dense and open."""
    turn_back_cost: float = 2.2
    """Changing the side of advance: the next layer sewn back over the column."""
    warm_up: int = 40
    """Strokes by which the blocks of the labelling overlap at each end."""

    # --- pieces ---
    stray_strokes: int = 3
    """Dense pieces of up to so many strokes go to a longer dense neighbour."""

    # --- borders between pieces ---
    stub_share: float = 0.72
    """A first rung shorter than this share of the second may be a centre run's last stitch."""
    taper: float = 1.2
    """... unless the third is longer than the second by this factor ..."""
    stub_inset: float = 0.2
    """... if it starts this share of a rung off the side."""
    column_singles: float = 0.94
    """Share of single stitches that makes a ladder an unsplit column."""
    sudden_length: float = 1.4
    """Strokes of several stitches longer than the column's by this factor are no rungs."""
    row_cosine: float = 0.8
    """A row before the first rung runs against it at least so straight."""
    row_aside_mm: float = 0.6
    """... and lies this near beside it."""
    row_ahead_mm: float = 0.12
    """... on the side away from the ladder's advance, but for rounding ..."""
    row_slack_mm: float = 1.2
    """... and is longer by at most this plus `row_stretch`."""
    row_stretch: float = 1.15
    row_least: float = 0.2
    """... and reaches over at least this share of it ..."""
    rung_least: float = 0.6
    """... or this share, where rungs are single stitches."""

    # --- fill or satin ---
    fill_row_mm: float = 6.6
    """A row of several stitches and shorter than this in all is no split satin."""
    fill_least_mm: float = 0.8
    """... if its stitches are longer than this."""
    fill_stitch_mm: float = 4.6
    """Three stitches or more shorter than this are a fill row (split satin: 3.5 to 6)."""
    fill_long_row_mm: float = 12.2
    """No satin is wider than this: longer than any format's stitch."""
    satin_from_mm: float = 4.9
    """One stitch this long ..."""
    satin_to_mm: float = 9.0
    """... to this is a satin's."""
    split_from_mm: float = 4.5
    """Strokes of several stitches and over this length ..."""
    split_even: float = 0.6
    """... whose shortest stitch is more than this share of the longest are divided evenly;"""
    split_alike: float = 0.2
    """Strokes whose lengths agree to this share are cut into as many stitches."""
    split_to_mm: float = 16.0
    """No split satin is wider;"""
    split_share: float = 0.92
    """a split satin has at least this share of them (seen: 0.97 and more, fills to 0.81) ..."""
    split_strokes: int = 12
    """... of at least so many."""
    fill_share: float = 0.12
    """Votes per stroke that make a fill."""
    fill_agreement: float = 0.9
    """A fill's rows run one way: mean resultant of the doubled angles."""
    lattice_strokes: int = 5
    """Crossing rows before the cover count from so many strokes ..."""
    lattice_crossing: float = 0.4
    """... at least this angle (radians) to the cover's rows ..."""
    lattice_from_mm: float = 1.65
    lattice_to_mm: float = 12.0
    """... and this pitch apart;"""
    lattice_row_stitches: float = 1.8
    """Crossing rows of more stitches than this ..."""
    lattice_rows_vote: float = 1.0
    """... add so many: no satin has such an underlay."""
    ring_vote: float = 0.1
    """A closed edge run under the cover adds so many."""
    compact_ring: float = 1.5
    """Where the cover is shorter than this many of its strokes are long ..."""
    compact_ring_vote: float = 1.3
    """... it adds so many: a column is longer than wide."""
    zigzag_crossing: float = 0.2
    """a zigzag along the rungs, at most this angle off ..."""
    zigzag_to_mm: float = 3.5
    """... and this pitch apart, speaks for satin;"""
    lattice_vote: float = 0.4
    """they add so many votes per stroke."""
    open_share: float = 0.5
    """Without dense pieces: this share of the thread in open ladders makes an open object."""
    open_single: float = 0.7
    """Open satin if more than this share of its strokes are single stitches."""

    # --- one object or several ---
    sample_mm: float = 0.3
    """Samples along strokes where coverage is compared."""
    cell_mm: float = 0.5
    """Cells in which coverage is compared."""
    dense_mm: float = 0.3
    """Same-side steps below this leave no hole when every second stroke is sampled."""
    cover_strokes: int = 4
    """Fewer dense strokes on their own are no cover where the chain has a longer ladder ..."""
    cover_points: int = 20
    """... or more needle points than this."""
    same_axis: float = 0.12
    """Sections of one fill agree within this angle, radians ..."""
    same_axis_few: float = 0.9
    """... plus this over the strokes of the smaller one."""
    stack_axis: float = 0.5
    """Stacked layers agree within this angle, radians, where both are straight."""
    straight_agreement: float = 0.9
    stack_more: float = 0.55
    """Stacked layers share this much of one of them ..."""
    stack_less: float = 0.35
    """... and this much of the other."""
    underlay_points: int = 3
    """So many points between two dense pieces are real underlay."""
    loose_covered: float = 0.85
    """A run of its own that the next object covers to this share is its underlay ..."""
    loose_points: int = 45
    """... unless it has more points: then it may be a placement or tack-down line."""
    continue_gap_mm: float = 0.6
    """A ladder goes on across a gap up to this."""
    corner_gap: float = 0.75
    """... or this many widths, round a corner."""
    ring_points: int = 6
    """Fewest points of a closed edge run."""
    ring_close_mm: float = 0.3
    """It comes back to within this of its start ..."""
    ring_least_mm: float = 4.0
    """... after at least this way, having turned round once, ..."""
    ring_sharpest: float = 2.9
    """... and nowhere right back, radians."""
    ring_winding: float = 2.0
    """The edge run of a hole turns so often at most, whichever way; crossing rows turn more."""
    ring_overrun: int = 6
    """Points by which it may reach into the crossing rows after it."""
    ring_search: int = 25
    """Points after a ring (or the start) from which another may begin."""

    # --- roles ---
    leg_turn: float = 0.1
    """A leg ends at a turn over this, radians ..."""
    leg_rounding_mm: float = 0.12
    """... plus what this much does to the direction of its stitches."""
    axis_slack: float = 0.05
    """Neighbouring rows agree within this, radians, plus rounding."""
    axis_share: float = 0.15
    """A direction is a lattice's if it holds this share of the neighbouring rows."""
    row_least_mm: float = 0.4
    """Shorter legs are no crossing rows."""
    row_facing: float = 0.2
    """Neighbouring rows face each other over this share of the shorter ..."""
    step_slant: float = 1.45
    """... unless the step between them is shorter than this times their distance."""
    lattice_pitch_from_mm: float = 0.8
    lattice_pitch_to_mm: float = 8.0
    """Crossing rows lie this far apart."""
    step_legs: int = 2
    """A step from row to row has up to this many legs ..."""
    step_detour: float = 1.2
    """... and is no longer than this many times the straight way."""
    across_least_mm: float = 0.4
    """A stitch that goes this far across the rows leaves them ..."""
    across_pitch: float = 1.8
    """... or this many row pitches, if that is more."""
    drift_least_mm: float = 0.8
    """A stretch without a turn back that drifts this far across the rows is travel ..."""
    drift_pitch: float = 3.0
    """... or this many row pitches, if that is more ..."""
    off_level_mm: float = 0.1
    """... where its stitches go across by more than rounding ..."""
    off_level_pitch: float = 1.0
    """... and the step to the next row, in row pitches."""
    tail_points: int = 6
    """Up to so many points after a column's last rung are still its cover."""
    lead_travel_mm: float = 3.5
    """Points outside the column that lead to it over more than this are travel."""

    # --- surplus ---
    raised_share: float = 0.65
    """A layer is surplus if a later one of its object covers this share of it."""
    raised_points: int = 14
    """With fewer points than this it must also make up ..."""
    raised_least: float = 0.2
    """... this share of the one above."""
    copy_centre_mm: float = 0.5
    """Copies have their centres this near,"""
    copy_count: float = 0.06
    """stitch counts that agree to this share,"""
    copy_length: float = 0.12
    """thread lengths that agree to this share,"""
    copy_path_mm: float = 0.6
    """and their middle lines lie this near to each other"""
    copy_path_share: float = 0.9
    """over at least this share,"""
    copy_points: int = 32
    """judged at so many points."""
    lap_strokes: int = 24
    """A column sewn round a ring again has laps of at least so many strokes."""
    lap_near_mm: float = 0.45
    """A second lap's middles lie this near to the first's."""
    paint_cell_mm: float = 0.4
    """Cells in which later stitching hides earlier; not finer than the samples."""
    paint_step_mm: float = 0.3
    """Samples along strokes there."""
    hidden_boxes: float = 0.9
    """Only fills whose box later boxes could cover to this share are looked at."""
    hidden_strokes: int = 10
    """... and only those of at least so many strokes."""
    hidden_share: float = 0.04
    """A fill of which less than this share of its cells shows is hidden."""

    # --- confidence: log-odds that an object is read right, fitted on generated designs ---
    sure_weights: tuple[float, ...] = (
        -0.14, 3.64, 4.11, -0.61, -5.25, 4.60, -3.71, -0.65,
    )  # fmt: skip
    """Of: every object; a run; the mean margin of its labels 0..1; the share of doubtful strokes;
    how far its strokes fall short of `few_strokes` 0..1; how far the votes are from the border
    between fill and satin 0..1; the share of strokes that vote against its kind, 1 at
    `many_against`; strokes shorter than `thin_mm`."""
    sure_table: tuple[tuple[float, float], ...] = (
        (0.315, 0.3256), (0.6949, 0.619), (0.8055, 0.6977), (0.9007, 0.7196), (0.9422, 0.8571),
        (0.9519, 0.8848), (0.9679, 0.9176), (0.9764, 0.9291), (0.9817, 0.9409), (0.987, 0.9841),
        (0.9907, 0.9891), (0.9911, 0.9934), (0.9913, 0.996), (0.9922, 0.9973), (0.9956, 0.9981),
    )  # fmt: skip
    """What the odds say, and how often objects with such odds were right: pooled so that it never
    falls, from some 20,000 objects of designs apart from those that gave the weights
    (``benchmarks/confidence.py 4 --first 300 --fit``)."""
    few_strokes: float = 14.0
    many_against: float = 0.2
    thin_mm: float = 0.75
    doubt_margin: float = 1.0
    """A label with a smaller margin is doubtful."""

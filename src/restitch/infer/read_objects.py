"""The reader: a flat stream in, the objects a digitizer would have drawn out."""

from __future__ import annotations

from restitch.infer.assemble import assemble
from restitch.infer.body import body_points, find_ends
from restitch.infer.cells import Coverage, Grid
from restitch.infer.confidence import rate
from restitch.infer.draft import Draft, Marks
from restitch.infer.grouping import Grouper
from restitch.infer.kinds import count_votes
from restitch.infer.label import label_strokes
from restitch.infer.layers import find_copies, find_hidden, mark_raised
from restitch.infer.links import find_links
from restitch.infer.loose_underlay import join_loose_underlay
from restitch.infer.needles import fitted_to, read_needles
from restitch.infer.pieces import find_pieces
from restitch.infer.roles import mark_roles
from restitch.infer.settings import Settings
from restitch.infer.strokes import find_strokes
from restitch.model import SewnObject, Stream


def infer(stream: Stream, settings: Settings | None = None) -> tuple[SewnObject, ...]:
    """The objects of a stream in sewing order.

    Parts hold every STITCH record exactly once in total and no other record. Layer 0 is the
    stitching meant to be seen; layers above it are surplus. Deterministic; time and memory grow
    with the number of stitches.
    """
    settings = fitted_to(stream, settings or Settings())
    needles = read_needles(stream, settings)
    if not len(needles):
        return ()
    ends = find_ends(needles, settings)
    strokes = find_strokes(needles, body_points(needles, ends, settings), settings)
    links = find_links(strokes, settings)
    labels = label_strokes(strokes, links, settings)
    votes = count_votes(strokes, settings)
    grid = Grid.over(needles.xy_mm, settings.cell_mm)
    coverage = Coverage(strokes, grid, settings.sample_mm, settings.dense_mm)
    grouper = Grouper(votes, coverage, settings)
    drafts: list[Draft] = []
    for chain in find_pieces(strokes, labels, settings):
        drafts += grouper.drafts(chain)
    section = needles.section[strokes.point]
    tied = ends.tied & (ends.body_stop < needles.stop)
    drafts = join_loose_underlay(drafts, section, tied, coverage, settings)
    marks = Marks.blank(len(strokes.point))
    for draft in drafts:
        mark_roles(draft, marks, votes, coverage, settings)
        mark_raised(draft, marks, coverage, settings)
    find_copies(
        drafts, [int(needles.block[strokes.point[d.p0]]) for d in drafts], strokes, settings
    )
    find_hidden(drafts, strokes, Grid.over(needles.xy_mm, settings.paint_cell_mm), settings)
    rate(drafts, strokes, labels, votes, settings)
    return assemble(needles, ends, strokes, drafts, marks)

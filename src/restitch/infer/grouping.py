"""Which pieces of a chain make one object, and what kind each object is."""

from __future__ import annotations

import numpy as np

from restitch.geometry.small import median
from restitch.infer.cells import Coverage, overlap
from restitch.infer.draft import Draft
from restitch.infer.kinds import Votes, angle_between, is_fill
from restitch.infer.piece import Look, Piece
from restitch.infer.settings import Settings
from restitch.infer.strokes import Strokes
from restitch.model import FloatArray, Kind


class Grouper:
    """Walks over the dense pieces of each chain; holds what the tests for one object need."""

    def __init__(self, votes: Votes, coverage: Coverage, settings: Settings) -> None:
        self.strokes = coverage.strokes
        self.votes = votes
        self.coverage = coverage
        self.settings = settings

    def drafts(self, chain: list[Piece]) -> list[Draft]:
        """The objects of one chain, in sewing order."""
        drafts: list[Draft] = []
        lead: list[Piece] = []
        few = self.settings.cover_strokes
        long = chain[-1].p1 - chain[0].p0 > self.settings.cover_points
        other = long or any(p.look == Look.DENSE and p.strokes >= few for p in chain)
        for piece in chain:
            # a few rows of an underlay that met by chance are no cover
            chance = piece.strokes < few and other
            if piece.look != Look.DENSE or (chance and not self._continues_cover(drafts, piece)):
                lead.append(piece)
                continue
            if drafts and self._joins(drafts[-1], lead, piece):
                if self._is_underlay(lead, self.votes.axis(drafts[-1].dense)[0]):
                    drafts[-1].anew.append(len(drafts[-1].dense))
                drafts[-1].pieces += [*lead, piece]
                drafts[-1].dense.append(piece)
            else:
                drafts.append(Draft(piece.chain, [*lead, piece], [piece]))
            lead = []
        if drafts:
            drafts[-1].pieces += lead
        elif lead:
            drafts.append(Draft(lead[0].chain, lead, []))
        for draft in drafts:
            self._decide_kind(draft)
        return drafts

    def _continues_cover(self, drafts: list[Draft], piece: Piece) -> bool:
        """Whether a short dense piece lies right behind another or along a fill's rows."""
        if not drafts:
            return False
        last = drafts[-1].dense[-1]
        axis, _ = self.votes.axis(drafts[-1].dense)
        apart = angle_between(axis, self.votes.axis([piece])[0])
        return piece.s0 == last.s1 or apart < self.settings.stack_axis

    def _decide_kind(self, draft: Draft) -> None:
        if draft.dense:
            extra = self._underlay_vote(draft)
            fill = is_fill(self.votes, draft.dense, extra, self.settings)
            draft.kind = Kind.FILL if fill else Kind.SATIN
            return
        loose = [p for p in draft.pieces if p.look == Look.OPEN]
        length = self.strokes.path_mm
        share = sum(float(length[p.s0 : p.s1].sum()) for p in loose)
        total = sum(float(length[p.s0 : p.s1].sum()) for p in draft.pieces)
        if loose and share > self.settings.open_share * total:
            draft.open = True
            single = sum(int((self.strokes.count[p.s0 : p.s1] == 1).sum()) for p in loose)
            most = single > self.settings.open_single * sum(p.strokes for p in loose)
            draft.kind = Kind.SATIN if most else Kind.FILL

    def _underlay_vote(self, draft: Draft) -> float:
        """What lies under the cover: crossing rows or a closed edge run speak for a fill, a zigzag
        along the rungs against."""
        s = self.settings
        lead = draft.pieces[: draft.pieces.index(draft.dense[0])]
        axis, _ = self.votes.axis(draft.dense)
        vote = 0.0
        if self._ring_between(lead):
            vote = s.compact_ring_vote if self._is_compact(draft.dense) else s.ring_vote
        for piece in lead:
            if piece.look != Look.OPEN or piece.strokes < s.lattice_strokes:
                continue
            crossing = angle_between(self.votes.axis([piece])[0], axis)
            pitch = self._pitch(piece)
            if not s.lattice_from_mm < pitch < s.lattice_to_mm:
                continue
            if crossing > s.lattice_crossing:
                rows = (
                    float(self.strokes.count[piece.s0 : piece.s1].mean()) > s.lattice_row_stitches
                )
                return vote + (s.lattice_rows_vote if rows else s.lattice_vote)
            if crossing < s.zigzag_crossing and pitch < s.zigzag_to_mm:
                vote -= s.lattice_vote
        return vote

    def _is_compact(self, dense: list[Piece]) -> bool:
        """Whether the cover is hardly longer than wide: no column."""
        chord = np.concatenate([self.strokes.chord[p.s0 : p.s1] for p in dense])
        middle = np.concatenate([self.strokes.middle[p.s0 : p.s1] for p in dense])
        most = self.settings.compact_ring * median(np.hypot(*chord.T))
        return float(np.hypot(*np.ptp(middle, axis=0))) < most

    def _pitch(self, piece: Piece) -> float:
        """Two-line pitch of a ladder piece: median step of middles two strokes apart."""
        middle = self.strokes.middle[piece.s0 : piece.s1]
        if len(middle) < 3:
            return 0.0
        return median(np.hypot(*(middle[2:] - middle[:-2]).T))

    def _joins(self, draft: Draft, lead: list[Piece], piece: Piece) -> bool:
        """Whether a dense piece continues the object before it."""
        s, last = self.settings, draft.dense[-1]
        between = sum(p.points for p in lead)
        if not lead and piece.s0 == last.s1 and self._continues(last, piece):
            return True
        a, agree_a = self.votes.axis(draft.dense)
        b, agree_b = self.votes.axis([piece])
        apart = angle_between(a, b)
        fills = is_fill(self.votes, draft.dense, 0.0, s) or is_fill(self.votes, [piece], 0.0, s)
        # the axis of a few short rows is less sure
        slack = s.same_axis + s.same_axis_few / min(piece.strokes, last.strokes)
        parallel = apart < slack and agree_b > s.fill_agreement
        if fills and parallel and not self._is_underlay(lead, a):
            return True
        straight = min(agree_a, agree_b) > s.straight_agreement
        if straight and apart > s.stack_axis:
            return False
        covers = self._overlaps(draft, piece)
        if not covers:
            return False
        if between < s.underlay_points:
            return True
        return self._same_path(last, piece)

    def _continues(self, last: Piece, piece: Piece) -> bool:
        """Two dense pieces in a row whose rails go on: same width, small gap, same axis."""
        strokes = self.strokes
        a, b = last.s1 - 1, piece.s0
        gap = float(np.hypot(*(strokes.middle[b] - strokes.middle[a])))
        la, lb = (float(np.hypot(*strokes.chord[k])) for k in (a, b))
        # round a mitred corner the middles are up to a width apart
        most = max(self.settings.continue_gap_mm, self.settings.corner_gap * min(la, lb))
        return gap < most and max(la, lb) < 2 * min(la, lb)

    def _is_underlay(self, lead: list[Piece], axis: float) -> bool:
        """Whether the stitching between two dense pieces is an underlay of its own."""
        s = self.settings
        for piece in lead:
            if piece.look == Look.OPEN and piece.strokes >= s.lattice_strokes:
                crossing = angle_between(self.votes.axis([piece])[0], axis)
                if crossing > s.lattice_crossing:
                    return True
        return self._ring_between(lead)

    def _ring_between(self, lead: list[Piece]) -> bool:
        """Whether a closed edge run lies in the stitching between two dense pieces."""
        s = self.settings
        for piece in lead:
            xy = self.strokes.xy_mm[piece.p0 : piece.p1]
            if len(xy) < s.ring_points:
                continue
            if ring_stop(xy, 0, s) or ring_stop(xy, 1, s) or ring_stop(xy, 2, s):
                return True
        return False

    def _overlaps(self, draft: Draft, piece: Piece) -> bool:
        s = self.settings
        new = self.coverage.of(piece)
        for old in draft.dense:
            mine, theirs = overlap(self.coverage.of(old), new)
            if max(mine, theirs) > s.stack_more and min(mine, theirs) > s.stack_less:
                return True
        return False

    def _same_path(self, a: Piece, b: Piece) -> bool:
        """Nine points along the middles agree, either way round."""
        one, two = path_points(self.strokes, a), path_points(self.strokes, b)
        apart = min(np.hypot(*(one - w).T).max() for w in (two, two[::-1]))
        return bool(apart < self.settings.copy_path_mm)


def path_points(strokes: Strokes, piece: Piece, count: int = 9) -> FloatArray:
    """(count, 2) points along the middles of a ladder, evenly spread over its strokes."""
    middle = strokes.middle[piece.s0 : piece.s1]
    if len(middle) > 2:
        middle = (middle[1:] + middle[:-1]) / 2
    at = np.linspace(0, len(middle) - 1, count)
    number = np.arange(len(middle))
    return np.stack([np.interp(at, number, middle[:, k]) for k in (0, 1)], axis=1)


def ring_stop(xy: FloatArray, start: int, settings: Settings) -> int:
    """Index at which a path begun at ``start`` first closes to a ring, else 0."""
    if len(xy) - start < 4:
        return 0
    x, y = (xy[start + 1 :] - xy[start]).T
    home = x * x + y * y < settings.ring_close_mm**2
    if not home[2:].any():
        return 0
    way = np.diff(xy[start:], axis=0)
    path = np.cumsum(np.hypot(*way.T))
    closed = np.flatnonzero(home & (path > settings.ring_least_mm))
    if not len(closed):
        return 0
    stop = int(closed[0])
    heading = np.arctan2(way[: stop + 1, 1], way[: stop + 1, 0])
    turn = np.angle(np.exp(1j * np.diff(heading, append=heading[:1])))
    # out and back along one line is no ring: its reversal is half a turn and little else
    once = abs(abs(float(turn.sum())) - 2 * np.pi) < 0.1
    if not once or np.abs(turn[:-1]).max() > settings.ring_sharpest:
        return 0
    return start + 1 + stop

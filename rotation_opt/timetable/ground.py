"""What covers the ground between two harvests: living crops, stands, dead mulch and stubble."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from rotation_opt.canopy import cover_of
from rotation_opt.climate import Climate, index_of
from rotation_opt.records import CanopyPiece, DatedOperation
from rotation_opt.tables import Tables

Array = npt.NDArray[np.float64]
LAST_DAY = 364


class GroundCover:
    """Finds the days on which too little of the ground is covered; keeps covers that several pairs share.

    Parameters
    ----------
    climate : Climate
        Heat and frost that drive the canopies.
    tables : Tables
        Canopies, and the cover each pass leaves.
    """

    def __init__(self, climate: Climate, tables: Tables) -> None:
        self.climate = climate
        self.tables = tables
        self.bare_cover = tables.number("field_days", "any", "bare_cover")
        self._left = {key: tables.number_or("operation", key, "cover_left", 1.0) for key in tables.operations}
        self._grown: dict[CanopyPiece, Array] = {}
        self._cover: dict[CanopyPiece, Array] = {}

    def bare_spans(
        self,
        operations: Sequence[DatedOperation],
        canopies: Sequence[CanopyPiece],
        residue: float,
        start: int,
        harvest_day: int,
    ) -> tuple[tuple[int, int], ...]:
        """First and last days of the spans in which the ground counts as bare.

        Parameters
        ----------
        operations, canopies : sequences
            Those of the programme.
        residue : float
            Share of ground under dead matter right after the harvest before.
        start, harvest_day : int
            The harvest before and the own one; the day of the own harvest belongs to the next season.
        """
        first, last = index_of(start), index_of(harvest_day) - 1
        open_ground = np.ones(last - first + 1)
        dead = {
            piece.end_day: float(self._cover_of(piece)[max(index_of(piece.end_day) - 1, 0)])
            for piece in canopies
            if piece.end_day < harvest_day and not piece.under
        }
        at = first
        events = sorted({op.day for op in operations} | set(dead))
        passes: dict[int, float] = {}
        for op in operations:
            passes[op.day] = passes.get(op.day, 1.0) * self._left[op.operation]
        for day in events:
            then = min(index_of(day), last + 1)
            open_ground[at - first : then - first] *= 1.0 - residue
            at = max(at, then)
            # what dies stays on the ground as residue, then the pass of the day works on all of it
            residue = (1.0 - (1.0 - residue) * (1.0 - dead.get(day, 0.0))) * passes.get(day, 1.0)
        open_ground[at - first :] *= 1.0 - residue
        for piece in canopies:
            cover = self._cover_of(piece)[first : last + 1]
            open_ground *= 1.0 - cover
            if self.tables.crops[piece.crop].life == "perennial":
                # once it has closed, a stand holds the soil, freshly cut or dormant as it may be
                closed = 0 if piece.start == "regrowth" else int(np.argmax(cover >= self.bare_cover))
                if closed or piece.start == "regrowth":
                    open_ground[closed : index_of(piece.end_day) - first] = 0.0
        return _spans(1.0 - open_ground < self.bare_cover, start)

    def _cover_of(self, piece: CanopyPiece) -> Array:
        """Cover of one canopy, shape (549,); grown on to the end of the axis once and cut off at its end."""
        if piece not in self._cover:
            whole = replace(piece, end_day=LAST_DAY)
            if whole not in self._grown:
                self._grown[whole] = np.asarray(cover_of((whole,), self.climate, self.tables).cover)
            cover = self._grown[whole].copy()
            cover[index_of(piece.end_day) :] = 0.0
            self._cover[piece] = cover
        return self._cover[piece]


def _spans(bare: npt.NDArray[np.bool_], start: int) -> tuple[tuple[int, int], ...]:
    """First and last day of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], bare, [False])).astype(np.int8)))
    return tuple((start + int(a), start + int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True))

"""All canopies of a season together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rotation_opt.canopy.curves import canopy_height
from rotation_opt.canopy.light import FULL, row_exponent, share_of_light
from rotation_opt.canopy.parameters import CanopyParameters
from rotation_opt.canopy.stands import grow
from rotation_opt.climate import SEASON_LENGTH, Climate
from rotation_opt.records import CanopyPiece
from rotation_opt.tables import Tables

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Canopy:
    """Everything that stands on a field over the season axis, day -184 to 364.

    Attributes
    ----------
    cover : ndarray, shape (549,)
        Share of light all pieces together keep from the ground: dead standing leaves and straw count in
        part, and narrow or wide rows by :func:`row_exponent`.
    green : ndarray, shape (549,)
        Share of ground under green leaves, rows not considered.
    height_m : ndarray, shape (549,)
        Height of the tallest piece that counts (cover above a tenth of the largest piece). [m]
    piece_cover, piece_green, piece_height_m : ndarray, shape (pieces, 549)
        The same for each piece.
    """

    cover: Array
    green: Array
    height_m: Array
    piece_cover: Array
    piece_green: Array
    piece_height_m: Array

    def share_of_light(self, weed_height_m: npt.ArrayLike = 0.0) -> Array:
        """Share of full light at a weed's top through the season, shape (..., 549).

        Piece by piece, so that a weed above a low undersown crop is shaded by the tall one only.
        """
        height = np.asarray(weed_height_m, dtype=float)
        light = np.ones(np.broadcast_shapes(height.shape, (SEASON_LENGTH,)))
        for cover, tall in zip(self.piece_cover, self.piece_height_m, strict=True):
            light = light * share_of_light(cover, tall, height)
        return light


def cover_of(pieces: Sequence[CanopyPiece], climate: Climate, tables: Tables) -> Canopy:
    """Cover and height of all canopies of a season.

    Parameters
    ----------
    pieces : sequence of CanopyPiece
        Stands of crops with their first and last day; a piece stands on its ``start_day`` and is gone on
        its ``end_day``. A piece that is ``under`` grows in the light the others leave it.
    climate : Climate
    tables : Tables

    Returns
    -------
    Canopy
        Shaded together as ``1 - prod(1 - cover)``: leaves of one piece lie at random above the others.
    """
    return Covers(climate, tables).of(pieces)


class Covers:
    """Canopies of one climate, as `cover_of` gives them; keeps stands that several seasons share."""

    def __init__(self, climate: Climate, tables: Tables) -> None:
        self._climate, self._tables = climate, tables
        self._clumping = tables.number("canopy", "any", "clumping_m")
        self._dead_share = tables.number("canopy", "any", "dead_shade_share")
        self._slow = tables.number("canopy", "any", "seeding_year_growth")
        self._open = np.ones(SEASON_LENGTH)
        self._alone: dict[CanopyPiece, tuple[Array, Array, Array]] = {}

    def of(self, pieces: Sequence[CanopyPiece]) -> Canopy:
        """All canopies of a season together."""
        count = len(pieces)
        cover, green, height = (np.zeros((count, SEASON_LENGTH)) for _ in range(3))
        left = np.ones(SEASON_LENGTH)  # light the upper pieces leave
        for index in sorted(range(count), key=lambda each: pieces[each].under):
            piece = pieces[index]
            if piece.under:
                cover[index], green[index], height[index] = self._piece(piece, left)
                continue
            if piece not in self._alone:
                self._alone[piece] = self._piece(piece, self._open)
            cover[index], green[index], height[index] = self._alone[piece]
            left = left * (1 - cover[index])
        together = 1 - np.prod(1 - cover, axis=0)
        counts = cover > 0.1 * np.max(cover, axis=0, initial=0.0)
        return Canopy(
            cover=together,
            green=1 - np.prod(1 - green, axis=0),
            height_m=np.max(np.where(counts, height, 0.0), axis=0, initial=0.0),
            piece_cover=cover,
            piece_green=green,
            piece_height_m=height,
        )

    def _piece(self, piece: CanopyPiece, light: Array) -> tuple[Array, Array, Array]:
        """Cover, green cover and height of one piece in the light that reaches it, each (549,)."""
        parameters = CanopyParameters.of(self._tables, piece.crop)
        grown, alive = grow(piece, parameters, self._climate, self._slow, light)
        # a stand lies down in winter, and what is left of it counts in full; straw stands and counts in part
        shade = grown if parameters.life == "perennial" else alive + self._dead_share * (grown - alive)
        spacing = piece.row_spacing_m or parameters.usual_row_spacing_m
        exponent = row_exponent(shade, spacing, parameters.usual_row_spacing_m, self._clumping)
        cover = np.asarray(1 - (1 - np.minimum(shade, FULL)) ** exponent)
        return cover, alive, canopy_height(grown, parameters)

"""What a rotation does to annual weeds: seed in the soil from harvest to harvest.

A rotation made to starve creeping perennials suits some annual in turn: fall cereals grown again and again
suit the grasses that come up with them. The annuals below stand for their kinds; nobody has counted them,
so what is told is by how many times their seed rises or falls.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rotation_opt.canopy import Canopy, cover_of
from rotation_opt.climate import DAYS, SEASON_LENGTH, Climate, index_of
from rotation_opt.records import CanopyPiece, DatedOperation, Programme
from rotation_opt.tables import Tables
from rotation_opt.weeds.annual_parameters import TABLE, AnnualParameters, annual_parameters
from rotation_opt.weeds.seed_bank import LENGTH, NEW_YEAR, FieldWork, SeedSeason, seed_season, size_of_one
from rotation_opt.weeds.yield_loss import share_lost

Array = NDArray[np.float64]
Following = tuple[Programme, Programme | None]

_KILLS = {"tillage", "end_cover", "sowing", "weeding"}  # kinds of pass that kill plants
_CUTS = {"mowing", "cut", "harvest", "grazing"}  # kinds of pass that take the top off


class SeedWorks:
    """Turns programmes into what they do to seeds and seedlings; keeps canopies and passes already met."""

    def __init__(self, climate: Climate, tables: Tables) -> None:
        self._climate = climate
        self._tables = tables
        self._canopies: dict[tuple[CanopyPiece, ...], Canopy] = {}
        self._effects: dict[str, tuple[float, float, float, float, float]] = {}

    def work(self, seasons: Sequence[Following]) -> FieldWork:
        """Work of these seasons, each with the season that follows it, whose work ends late weeds.

        Where nothing is known to follow, what still stands after the harvest is left out of account.
        """
        count = len(seasons)
        arrays = {
            name: np.zeros((LENGTH, count))
            for name in ("cover", "crop_height_m", "removed", "harrowed", "cut", "depth", "inverted")
        }
        start, end, last = np.zeros((3, count), dtype=np.int64)
        for p, (own, following) in enumerate(seasons):
            start[p] = index_of(own.start_day)
            # a harvest before 1 July counts as on 1 July, as it does for the season that follows
            end[p] = max(index_of(own.harvest_day), DAYS)
            last[p] = end[p] if following is None else LENGTH
            self._lay(arrays, p, own, 0, slice(0, int(end[p])))
            if following is not None:
                self._lay(arrays, p, following, DAYS, slice(int(end[p]), LENGTH))
        day = np.arange(LENGTH)[:, None]
        own_days = (day >= NEW_YEAR) & (day < end)
        count_day = np.where(own_days, arrays["cover"], -1.0).argmax(axis=0)
        return FieldWork(start=start, end=end, count=count_day, last=last, **arrays)

    def _lay(self, arrays: dict[str, Array], p: int, programme: Programme, shift: int, span: slice) -> None:
        """Put one programme's days of the long axis within `span` into column `p`."""
        stop = min(span.stop, shift + SEASON_LENGTH)
        days = slice(span.start - shift, stop - shift)
        canopy = self._canopy(programme.canopies)
        arrays["cover"][span.start : stop, p] = canopy.cover[days]
        arrays["crop_height_m"][span.start : stop, p] = canopy.height_m[days]
        for operation in programme.operations:
            at = operation.day + index_of(0) + shift
            # the own harvest is done on the first day of what follows
            if span.start <= at < span.stop or (shift == 0 and at == span.stop < LENGTH):
                self._add(arrays, p, at, operation)

    def _add(self, arrays: dict[str, Array], p: int, at: int, operation: DatedOperation) -> None:
        removed, harrowed, cut, depth, inverted = self._effect(operation.operation)
        for name, share in (("removed", removed), ("harrowed", harrowed), ("cut", cut)):
            arrays[name][at, p] = 1.0 - (1.0 - arrays[name][at, p]) * (1.0 - share)
        arrays["depth"][at, p] += depth
        arrays["inverted"][at, p] = max(arrays["inverted"][at, p], inverted)

    def _canopy(self, pieces: tuple[CanopyPiece, ...]) -> Canopy:
        if pieces not in self._canopies:
            self._canopies[pieces] = cover_of(pieces, self._climate, self._tables)
        return self._canopies[pieces]

    def _effect(self, operation: str) -> tuple[float, float, float, float, float]:
        """Plants killed, ground harrowed, size cut, depth times ground, ground turned over, of one pass."""
        if operation not in self._effects:
            area, removed, depth = (
                self._tables.number("operation", operation, quantity)
                for quantity in ("area_share", "shoot_removed", "depth_m")
            )
            kind = self._tables.operations[operation].kind
            kills, cuts = kind in _KILLS and depth > 0.0, kind in _CUTS
            inverts = self._tables.number_or("operation", operation, "shoot_delay", 0.0) > 0.0
            self._effects[operation] = (
                removed * area if kills else 0.0,
                area if kills else 0.0,
                removed * area if cuts else 0.0,
                depth * area if kills else 0.0,
                area if inverts else 0.0,
            )
        return self._effects[operation]


def annual_seasons(
    seasons: Sequence[Following],
    climate: Climate,
    tables: Tables,
    parameters: AnnualParameters | None = None,
) -> SeedSeason:
    """What each season does to the seed of each annual weed, low, likely and high.

    Parameters
    ----------
    seasons : sequence of (Programme, Programme or None)
        Each season with the one that follows it on the field; None if that is not known.
    climate : Climate
    tables : Tables
    parameters : AnnualParameters, optional
        Those of the tables if left out.

    Returns
    -------
    SeedSeason
        Arrays (seasons, weeds of the table ``annual_weeds``, 3).
    """
    weeds = annual_parameters(tables) if parameters is None else parameters
    return seed_season(SeedWorks(climate, tables).work(seasons), climate, weeds)


def annual_loss(
    seasons: Sequence[Following], climate: Climate, tables: Tables, weed: str, seeds_per_m2: ArrayLike
) -> Array:
    """Share of the yield lost to one annual weed, low, likely and high, (seasons, 3).

    Plants are counted at the fullest crop cover, each weighted by its size against one that comes up with
    the crop; the hyperbola is that of the weed in wheat. Nought where nothing is sown.

    Parameters
    ----------
    seasons, climate, tables
        As in `annual_seasons`.
    weed : str
        Key; needs ``loss_index`` and ``loss_most`` in the tables.
    seeds_per_m2 : array_like
        Living seed at the harvest before, broadcast to (seasons, 3).

    Raises
    ------
    TableError
        If the weed has no figures of yield loss.
    """
    index, most = (tables.number(TABLE, weed, quantity) for quantity in ("loss_index", "loss_most"))
    weeds = annual_parameters(tables, (weed,))
    work = SeedWorks(climate, tables).work(seasons)
    load = seed_season(work, climate, weeds).load[:, 0] * np.asarray(seeds_per_m2, dtype=np.float64)
    sown = np.array([own.sowing_day is not None for own, _ in seasons])
    sowing = [index_of(own.sowing_day) if own.sowing_day is not None else 0 for own, _ in seasons]
    green = (work.cover > 0.0) & (np.arange(LENGTH)[:, None] >= np.array(sowing))
    one = size_of_one(green.argmax(axis=0).astype(np.int64), work, climate, weeds, 0)
    plants = np.divide(load, one, out=np.zeros_like(load), where=(one > 0.0) & sown[:, None])
    return share_lost(plants, index, most)


def annual_course(
    rotations: Sequence[Sequence[Programme]],
    climate: Climate,
    tables: Tables,
    start: Array | None = None,
) -> Array:
    """Living seed after each harvest as a multiple of that at the start.

    Parameters
    ----------
    rotations : sequence of sequences of Programme
        One for each field: its seasons in order, all of the same number of years.
    climate : Climate
    tables : Tables
    start : ndarray (W,), optional
        Seeds per m2 at the start; ``bank_usual`` of the tables if left out.

    Returns
    -------
    ndarray (fields, years + 1, W, 3)
        The first year is the start, 1; low, likely, high course.
    """
    parameters = annual_parameters(tables)
    chains = [_with_next(rotation) for rotation in rotations]
    places: dict[Following, int] = {}
    for season in (season for chain in chains for season in chain):
        places.setdefault(season, len(places))
    response = annual_seasons(tuple(places), climate, tables, parameters)
    usual = parameters.bank_usual if start is None else np.asarray(start, dtype=np.float64)[:, None]
    first = np.broadcast_to(usual, parameters.bank_usual.shape)
    courses = []
    for chain in chains:
        banks = [first]
        for season in chain:
            banks.append(response.after(banks[-1], places[season]))
        courses.append(np.stack(banks) / first)
    return np.stack(courses)


def _with_next(rotation: Sequence[Programme]) -> list[Following]:
    """Each season with the one after it."""
    return list(zip(rotation, (*rotation[1:], None), strict=True))

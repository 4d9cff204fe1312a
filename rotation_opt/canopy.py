"""How much ground a crop covers through the season, and how much light it leaves to a weed.

Cover follows the growth and decline equations of the FAO crop-water model, driven by degree-days; cuts and
winters set it back and it grows on from there. Light follows from cover and from who is taller.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from rotation_opt.climate import DAYS, SEASON_LENGTH, SEASON_START, Climate

if TYPE_CHECKING:
    from rotation_opt.records import CanopyPiece
    from rotation_opt.tables import Tables

Array = npt.NDArray[np.float64]
_FULL = 0.999  # a cover of exactly 1 would have no logarithm
_NEVER = 1e9  # heat that is never reached


# ---------------------------------------------------------------- parameters


@dataclass(frozen=True, slots=True, kw_only=True)
class CanopyParameters:
    """Canopy figures of one crop, named as in table ``crop``.

    Heat sums are in °C d above ``base_temperature``; covers are shares of the ground.
    """

    crop: str
    life: str
    base_temperature: float
    upper_temperature: float
    plants_per_m2: float
    cover_per_plant_cm2: float
    canopy_growth: float
    canopy_max: float
    canopy_decline: float
    heat_emergence: float
    heat_senescence: float
    heat_maturity: float
    height_m: float
    usual_row_spacing_m: float
    winter_cover_kept: float
    frost_kill_c: float | None
    stubble_cover: float
    thin_after_year: float
    thin_per_year: float

    @classmethod
    def of(cls, tables: Tables, crop_key: str) -> CanopyParameters:
        """Read the canopy figures of a crop.

        Raises
        ------
        TableError
            If a figure every crop needs is missing.
        """

        def need(quantity: str) -> float:
            return tables.number("crop", crop_key, quantity)

        def maybe(quantity: str, default: float) -> float:
            return tables.number_or("crop", crop_key, quantity, default)

        life = tables.crops[crop_key].life
        ripens = life in ("annual", "winter annual")
        return cls(
            crop=crop_key,
            life=life,
            base_temperature=need("base_temperature"),
            upper_temperature=need("upper_temperature"),
            plants_per_m2=need("plants_per_m2"),
            cover_per_plant_cm2=need("cover_per_plant_cm2"),
            canopy_growth=need("canopy_growth"),
            canopy_max=need("canopy_max"),
            canopy_decline=need("canopy_decline") if ripens else maybe("canopy_decline", 0.0),
            heat_emergence=need("heat_emergence"),
            heat_senescence=need("heat_senescence") if ripens else maybe("heat_senescence", _NEVER),
            heat_maturity=need("heat_maturity") if ripens else maybe("heat_maturity", _NEVER),
            height_m=need("height_m"),
            usual_row_spacing_m=need("usual_row_spacing_m"),
            winter_cover_kept=maybe("winter_cover_kept", 0.0),
            frost_kill_c=need("frost_kill_c") if tables.has("crop", crop_key, "frost_kill_c") else None,
            stubble_cover=maybe("stubble_cover", 0.0),
            thin_after_year=maybe("thin_after_year", 0.0),
            thin_per_year=maybe("thin_per_year", 0.0),
        )

    @property
    def first_cover(self) -> float:
        """Cover at emergence of the usual stand: plants per area times cover of one seedling."""
        return self.plants_per_m2 * self.cover_per_plant_cm2 / 1e4

    def most_cover(self, stand_year: int = 0) -> float:
        """Largest cover of a stand in its ``stand_year``, thinned once it is old."""
        lost = self.thin_per_year * max(0.0, stand_year - self.thin_after_year)
        return self.canopy_max * max(0.0, 1 - lost)


# ---------------------------------------------------------------- the curves


def canopy_growth(heat: npt.ArrayLike, start_cover: npt.ArrayLike, most: float, growth: float) -> Array:
    """Cover that grows from ``start_cover`` towards ``most``: exponential to half, then levelling off.

    ``CC = CC0 exp(CGC t)`` up to ``CCx / 2``, then ``CC = CCx - 0.25 CCx² / CC0 exp(-CGC t)``. Growth from
    a cover already above half goes on along the same levelling curve.

    Parameters
    ----------
    heat : array_like of float
        Degree-days since the start; below zero there is no cover yet. [°C d]
    start_cover : array_like of float
        Cover at heat 0 (CC0), broadcast against `heat`.
    most : float
        Largest cover (CCx).
    growth : float
        Growth coefficient (CGC). [1/(°C d)]

    Returns
    -------
    ndarray of float
        Share of ground covered, broadcast shape.

    References
    ----------
    FAO, "AquaCrop reference manual," 2023, canopy development; form as in the Python package aquacrop 3.1.

    Examples
    --------
    Barley of the FAO degree-day crop set, 0 to 800 °C d after emergence:

    >>> canopy_growth([0, 300, 400, 800], 0.0225, 0.8, 0.008697).round(4).tolist()
    [0.0225, 0.3057, 0.5807, 0.7932]
    """
    time = np.asarray(heat, dtype=float)
    start = np.maximum(np.asarray(start_cover, dtype=float), 1e-12)
    rise = np.clip(growth * np.maximum(time, 0.0), 0.0, 500.0)
    early = start * np.exp(rise)
    late = most - 0.25 * most**2 / start * np.exp(-rise)
    onward = most - (most - start) * np.exp(-rise)
    cover = np.where(start > most / 2, np.minimum(onward, most), np.where(early <= most / 2, early, late))
    return np.where((time >= 0) & (np.asarray(start_cover) > 0), cover, 0.0)


def canopy_decline(heat: npt.ArrayLike, peak: npt.ArrayLike, decline: float) -> Array:
    """Green cover after leaves begin to die: ``CC = CCx {1 - 0.05 [exp(3.33 CDC t / (CCx + 2.29)) - 1]}``.

    Parameters
    ----------
    heat : array_like of float
        Degree-days since senescence began; below zero the peak stands. [°C d]
    peak : array_like of float
        Cover when senescence began (CCx).
    decline : float
        Decline coefficient (CDC). [1/(°C d)]

    Returns
    -------
    ndarray of float
        Share of ground under green leaves, never below zero.

    References
    ----------
    As for :func:`canopy_growth`.

    Examples
    --------
    >>> canopy_decline([0, 200, 400], 0.8, 0.006).round(4).tolist()
    [0.8, 0.6942, 0.3087]
    """
    top = np.asarray(peak, dtype=float)
    power = np.clip(
        3.33 * decline * np.maximum(np.asarray(heat, dtype=float), 0.0) / (top + 2.29), 0.0, 500.0
    )
    return np.asarray(np.maximum(top * (1 - 0.05 * (np.exp(power) - 1)), 0.0))


def annual_cover(
    heat: npt.ArrayLike,
    parameters: CanopyParameters,
    density_ratio: npt.ArrayLike = 1.0,
    ripening_heat: npt.ArrayLike | None = None,
) -> Array:
    """Green cover of an annual crop.

    Parameters
    ----------
    heat : array_like of float
        Degree-days since sowing. [°C d]
    parameters : CanopyParameters
    density_ratio : array_like of float
        Sowing rate against the usual one; it moves the curve earlier by ``ln(ratio) / CGC`` and leaves the
        largest cover alone.
    ripening_heat : array_like of float, optional
        Degree-days that count towards senescence: those since 1 January for fall-sown crops; `heat` if
        left out. [°C d]

    Returns
    -------
    ndarray of float
        Share of ground under green leaves, broadcast shape.
    """
    since_sowing = np.asarray(heat, dtype=float)
    ripening = since_sowing if ripening_heat is None else np.asarray(ripening_heat, dtype=float)
    past = np.maximum(ripening - parameters.heat_senescence, 0.0)
    # both sums run on the same daily heat, so growth had ``past`` less when it stopped
    start = np.minimum(parameters.first_cover * np.asarray(density_ratio, dtype=float), parameters.canopy_max)
    grown = canopy_growth(
        since_sowing - past - parameters.heat_emergence,
        start,
        parameters.canopy_max,
        parameters.canopy_growth,
    )
    return canopy_decline(past, grown, parameters.canopy_decline)


def regrowth_cover(heat: npt.ArrayLike, parameters: CanopyParameters, stand_year: int = 1) -> Array:
    """Green cover of a hay stand regrowing from stubble.

    Parameters
    ----------
    heat : array_like of float
        Degree-days since the cut, or since spring growth began. [°C d]
    parameters : CanopyParameters
    stand_year : int
        1 in the first full year; old stands are thinner.

    Returns
    -------
    ndarray of float
        Share of ground under green leaves.
    """
    most = parameters.most_cover(stand_year)
    return canopy_growth(heat, min(parameters.stubble_cover, most), most, parameters.canopy_growth)


def canopy_height(cover: npt.ArrayLike, parameters: CanopyParameters) -> Array:
    """Height of a crop from the cover it has grown: ``H sqrt(LAI / LAImax)``.

    Leaf area is taken from cover as ``LAI ~ -ln(1 - C)``. The square root is the form of a widely used
    watershed model (SWAT, from memory).

    Parameters
    ----------
    cover : array_like of float
        Largest cover grown so far.
    parameters : CanopyParameters

    Returns
    -------
    ndarray of float
        [m]
    """
    gaps = 1 - np.clip(np.asarray(cover, dtype=float), 0.0, parameters.canopy_max)
    full = np.log(1 - min(parameters.canopy_max, _FULL))
    share = np.log(np.maximum(gaps, 1 - _FULL)) / full
    return np.asarray(parameters.height_m * np.sqrt(np.clip(share, 0.0, 1.0)))


# ---------------------------------------------------------------- light


def row_exponent(
    cover: npt.ArrayLike, row_spacing_m: npt.ArrayLike, usual_row_spacing_m: npt.ArrayLike, clumping_m: float
) -> Array:
    """How much better (above 1) or worse (below 1) the same leaves shade the ground than in usual rows.

    Leaves in rows overlap, so they let more light past than leaves spread evenly: as if the exponent on the
    share of gaps were only ``Omega = exp(-r (1 - C) / clumping)`` for row spacing r and cover C. Omega is at
    most 1 and rises to 1 as the rows close. Tabulated covers were measured in usual rows, so what counts is
    Omega against that of the usual spacing: ``exp((r_usual - r) (1 - C) / clumping)``.

    Parameters
    ----------
    cover : array_like of float
        Cover the crop would have in its usual rows.
    row_spacing_m, usual_row_spacing_m : array_like of float
        [m]
    clumping_m : float
        Row spacing at which Omega of an open canopy has fallen to 1/e; fitted, see table ``canopy``. [m]

    Returns
    -------
    ndarray of float
        Exponent on the share of gaps, broadcast shape.

    Notes
    -----
    A clumping index is a known way (form from memory); this shape of it is ours. It is fitted to weed
    biomass, so it carries whatever narrow rows do to weeds, not light alone.
    """
    gaps = 1 - np.asarray(cover, dtype=float)
    narrower = np.asarray(usual_row_spacing_m, dtype=float) - np.asarray(row_spacing_m, dtype=float)
    return np.asarray(np.exp(narrower * gaps / clumping_m))


def share_of_light(
    cover: npt.ArrayLike,
    canopy_height_m: npt.ArrayLike,
    weed_height_m: npt.ArrayLike = 0.0,
    exponent: npt.ArrayLike = 1.0,
) -> Array:
    """Share of full light that reaches the top of a weed under a canopy.

    With leaves spread evenly up the canopy, ``T = (1 - C)^(exponent (1 - z / H))`` for a weed of height z
    under a canopy of height H, and full light once it stands above it.

    Parameters
    ----------
    cover : array_like of float
        Share of ground covered. Covers from :func:`cover_of` already hold the effect of row spacing.
    canopy_height_m, weed_height_m : array_like of float
        [m]
    exponent : array_like of float
        From :func:`row_exponent`, if `cover` does not hold the row spacing yet.

    Returns
    -------
    ndarray of float
        Between 0 and 1; all arguments broadcast.

    Examples
    --------
    >>> share_of_light(0.9, 1.0, [0.0, 0.5, 1.2]).round(3).tolist()
    [0.1, 0.316, 1.0]
    """
    height = np.maximum(np.asarray(canopy_height_m, dtype=float), 1e-9)
    above = np.clip(1 - np.asarray(weed_height_m, dtype=float) / height, 0.0, 1.0)
    gaps = 1 - np.minimum(np.asarray(cover, dtype=float), _FULL)
    return np.asarray(gaps ** (np.asarray(exponent, dtype=float) * above))


# ---------------------------------------------------------------- a season of canopies


@dataclass(frozen=True, slots=True, kw_only=True)
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
    count = len(pieces)
    cover, green, height = (np.zeros((count, SEASON_LENGTH)) for _ in range(3))
    clumping = tables.number("canopy", "any", "clumping_m")
    dead_share = tables.number("canopy", "any", "dead_shade_share")
    left = np.ones(SEASON_LENGTH)  # light the upper pieces leave
    for index in sorted(range(count), key=lambda each: pieces[each].under):
        piece = pieces[index]
        parameters = CanopyParameters.of(tables, piece.crop)
        light = left if piece.under else np.ones(SEASON_LENGTH)
        grown, alive = _grow(piece, parameters, climate, tables, light)
        # a stand lies down in winter, and what is left of it counts in full; straw stands and counts in part
        shade = grown if parameters.life == "perennial" else alive + dead_share * (grown - alive)
        spacing = piece.row_spacing_m or parameters.usual_row_spacing_m
        exponent = row_exponent(shade, spacing, parameters.usual_row_spacing_m, clumping)
        cover[index] = 1 - (1 - np.minimum(shade, _FULL)) ** exponent
        green[index] = alive
        height[index] = canopy_height(grown, parameters)
        if not piece.under:
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


def _grow(
    piece: CanopyPiece, parameters: CanopyParameters, climate: Climate, tables: Tables, light: Array
) -> tuple[Array, Array]:
    """Cover a piece has grown (dead leaves and all) and its green part, each shape (549,)."""
    grown, alive = np.zeros(SEASON_LENGTH), np.zeros(SEASON_LENGTH)
    # what was sown before the axis begins has had its heat by then, so count from the true start
    first = piece.start_day
    last = min(piece.end_day, SEASON_START + SEASON_LENGTH)
    if last <= max(first, SEASON_START):
        return grown, alive
    day = np.arange(first, last)
    heat = climate.heat(parameters.base_temperature, parameters.upper_temperature)[day % DAYS]
    within = day >= SEASON_START
    seen = np.ones(day.size)
    seen[within] = light[day[within] - SEASON_START]
    days = _Days(first=first, last=last, heat=heat, light=seen)
    if parameters.life == "perennial":
        slow = tables.number("canopy", "any", "seeding_year_growth")
        cover, asleep = _stand(piece, parameters, climate, days, slow)
        green = np.where(asleep, 0.0, cover)
    else:
        cover, past = _annual(piece, parameters, climate, days)
        green = canopy_decline(past, cover, parameters.canopy_decline)
    span = day[within] - SEASON_START
    grown[span], alive[span] = cover[within], green[within]
    return grown, alive


@dataclass(frozen=True, slots=True, kw_only=True)
class _Days:
    """The days of one piece: first (included), last (not included), heat and share of light of each."""

    first: int
    last: int
    heat: Array
    light: Array


def _leaf_heat(parameters: CanopyParameters, days: _Days) -> Array:
    """Heat of each day that makes leaves: after emergence, less in the shade of a nurse."""
    after = np.maximum(np.cumsum(days.heat) - parameters.heat_emergence, 0.0)
    return np.diff(after, prepend=0.0) * days.light


def _annual(
    piece: CanopyPiece, parameters: CanopyParameters, climate: Climate, days: _Days
) -> tuple[Array, Array]:
    """Grown cover of an annual piece on its days, and the heat past the start of senescence."""
    first, last, heat = days.first, days.last, days.heat
    day = np.arange(first, last)
    over_winter = parameters.life == "winter annual"
    counts = day >= 0 if over_winter and first < 0 else np.ones(day.size, dtype=bool)
    if over_winter and first > DAYS // 2:
        counts[:] = False  # sown this autumn: it ripens next year
    past = np.maximum(np.cumsum(heat * counts) - parameters.heat_senescence, 0.0)
    leaf = _leaf_heat(parameters, days)
    leaf *= 1 - np.divide(np.diff(past, prepend=0.0), heat, out=np.zeros_like(heat), where=heat > 0)
    curve = _Curve(
        most=parameters.canopy_max, rate=parameters.canopy_growth, since=np.cumsum(leaf), first=first
    )
    start = min(parameters.first_cover * piece.sowing_rate_ratio, parameters.canopy_max)
    cover = np.where(np.cumsum(heat) >= parameters.heat_emergence, curve.from_start(start), 0.0)
    if over_winter:
        for year in (-DAYS, 0):
            _through_winter(cover, curve, parameters.winter_cover_kept, climate, year)
    for cut in sorted(piece.cut_days):
        if first < cut < last:
            curve.grow_on(cover, cut, min(parameters.stubble_cover, float(cover[cut - first])))
    if parameters.life == "annual":
        limit = parameters.frost_kill_c
        frost = climate.first_killing_frost_day if limit is None else climate.first_autumn_frost(limit)
        kill = next(each for each in (frost - DAYS, frost, frost + DAYS) if each >= first)
        cover[day >= kill] = 0.0
    return cover, past


@dataclass(frozen=True, slots=True, kw_only=True)
class _Curve:
    """Growth of one piece along its days, that can be taken up again from any cover."""

    most: float
    rate: float
    since: Array  # leaf-making heat summed over the days of the piece
    first: int

    def from_start(self, level: float) -> Array:
        return canopy_growth(self.since, level, self.most, self.rate)

    def grow_on(self, cover: Array, day: int, level: float) -> None:
        """Let the cover stand at ``level`` on ``day`` and grow on from there."""
        at = day - self.first
        cover[at:] = canopy_growth(self.since[at:] - self.since[at], level, self.most, self.rate)


def _through_winter(cover: Array, curve: _Curve, kept: float, climate: Climate, year: int) -> None:
    """Lose leaves evenly from freeze-up to spring, then grow on from what is left."""
    begin, end = climate.freeze_day + year, climate.spring_start_day + year + DAYS
    begin_at, end_at = begin - curve.first, end - curve.first
    if begin_at < 0 or begin_at >= cover.size:
        return  # not yet sown when winter came, or gone before
    winter = np.arange(begin_at, min(end_at, cover.size))
    cover[winter] *= 1 - (1 - kept) * (winter - begin_at) / (end - begin)
    if end_at < cover.size and cover[end_at] > 0:
        curve.grow_on(cover, end, kept * float(cover[end_at]))


def _stand(
    piece: CanopyPiece, parameters: CanopyParameters, climate: Climate, days: _Days, slow: float
) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Cover of a hay stand on its days, and whether it is dormant.

    Cuts set it back to stubble; killing frost ends green growth and leaves a share of the cover lying;
    spring growth starts from that share or from the crowns, whichever is more.
    """
    stubble, kept = parameters.stubble_cover, parameters.winter_cover_kept
    frost, spring = climate.first_killing_frost_day, climate.stand_growth_start_day
    first, last, heat = days.first, days.last, days.heat
    sown = piece.start == "sown"
    full = heat * days.light
    leaf = _leaf_heat(parameters, days) * slow if sown else full
    most, rate = parameters.most_cover(piece.stand_year), parameters.canopy_growth
    curve = _Curve(most=most, rate=rate, since=np.cumsum(leaf), first=first)
    cover = curve.from_start(min(parameters.first_cover * piece.sowing_rate_ratio if sown else stubble, most))
    if sown:
        cover[np.cumsum(heat) < parameters.heat_emergence] = 0.0
    dormant = not sown and frost - DAYS <= first < spring
    autumn = 0.0  # cover that went into the winter
    asleep = np.full(heat.size, dormant)
    if dormant:
        cover[:] = 0.0
    events = [(day, "cut") for day in piece.cut_days] + [(frost - DAYS, "frost"), (frost, "frost")]
    if not sown or first < frost - DAYS:
        events.append((spring, "spring"))
    for day, event in sorted(events):
        if not first < day < last:
            continue
        now = float(cover[day - first])
        if event == "frost":
            autumn, dormant = now, True
            asleep[day - first :] = True
            cover[day - first :] = kept * now
        elif event == "spring":
            dormant = False
            asleep[day - first :] = False
            curve = _Curve(most=most, rate=rate, since=np.cumsum(full), first=first)
            # crowns carry a stand to stubble cover; a young sowing has no more of them than it has leaf
            reserve = min(stubble, autumn if sown else most)
            curve.grow_on(cover, day, max(kept * autumn, reserve))
        elif dormant:
            cover[day - first :] = min(now, stubble)
        else:
            curve.grow_on(cover, day, min(now, stubble))
    return cover, asleep

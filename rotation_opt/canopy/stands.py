"""One stand through its days: emergence, ripening, cuts, winters and killing frost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rotation_opt.canopy.curves import canopy_decline, canopy_growth
from rotation_opt.canopy.parameters import CanopyParameters
from rotation_opt.climate import DAYS, SEASON_LENGTH, SEASON_START, Climate
from rotation_opt.records import CanopyPiece

Array = npt.NDArray[np.float64]


def grow(
    piece: CanopyPiece, parameters: CanopyParameters, climate: Climate, slow: float, light: Array
) -> tuple[Array, Array]:
    """Cover of one piece along the season axis.

    Parameters
    ----------
    piece : CanopyPiece
    parameters : CanopyParameters
        Of the crop of the piece.
    climate : Climate
    slow : float
        Growth of a hay stand in its seeding year against regrowth.
    light : ndarray, shape (549,)
        Share of full light that reaches the piece.

    Returns
    -------
    grown, green : ndarray, shape (549,)
        Cover grown so far (dead leaves and all), and its green part.
    """
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
    winters = _winters(climate) if over_winter else ()
    for begin, end in winters:  # short, dark days: cover is held until spring however mild some of them are
        leaf[(day >= begin) & (day < end)] = 0.0
    curve = _Curve(
        most=parameters.canopy_max, rate=parameters.canopy_growth, since=np.cumsum(leaf), first=first
    )
    start = min(parameters.first_cover * piece.sowing_rate_ratio, parameters.canopy_max)
    cover = np.where(np.cumsum(heat) >= parameters.heat_emergence, curve.from_start(start), 0.0)
    for winter in winters:
        _through_winter(cover, curve, parameters.winter_cover_kept, winter)
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


def _winters(climate: Climate) -> tuple[tuple[int, int], ...]:
    """First day and end of each winter a season can meet: from freeze-up until field work opens."""
    return tuple(
        (climate.freeze_day + year, climate.spring_start_day + year + DAYS) for year in (-2 * DAYS, -DAYS, 0)
    )


def _through_winter(cover: Array, curve: _Curve, kept: float, winter: tuple[int, int]) -> None:
    """Lose leaves evenly through the winter, in which none grow, then grow on from what is left."""
    begin, end = winter
    begin_at, end_at = begin - curve.first, end - curve.first
    if begin_at < 0 or begin_at >= cover.size:
        return  # not yet sown when winter came, or gone before
    resting = np.arange(begin_at, min(end_at, cover.size))
    cover[resting] *= 1 - (1 - kept) * (resting - begin_at) / (end - begin)
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

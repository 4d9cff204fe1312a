"""What a plan leaves to the years after its last one, in money: weeds, nitrogen, stands of hay.

Each is a line of its own and none is ever added into the net return. Money is that of the end of the last
plan year. After the plan every field goes on with the crops it has as now, from the first of them on; those
that need an older stand are passed over. So all plans are followed by the same crops and their lines compare.
Land that is surely farmed no longer, since its lease has ended, counts nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from rotation_opt.arrays import NOT_FARMED, SelectionData
from rotation_opt.bands import Bands, Belief, three
from rotation_opt.budgets import nitrogen_left, pair_budgets, weedy_grain
from rotation_opt.finance import present_value
from rotation_opt.groundwork import Groundwork
from rotation_opt.practices import stand_of
from rotation_opt.records import CarryOver, LeftOver, Practice, Programme
from rotation_opt.sequences import yield_lost
from rotation_opt.standing_hay import sold_as
from rotation_opt.succession import hay_years
from rotation_opt.tables import Tables
from rotation_opt.timetable import Timetable
from rotation_opt.workload import money, pair_hours

Array = NDArray[np.float64]
Paths = Sequence[Sequence[int]]


# ---------------------------------------------------------------- each line by itself


def cost_of_weeds(
    shoots: Array,
    *,
    loss_index: Array,
    loss_most: Array,
    infested_share: Array,
    crop_worth: Array,
    interest_rate: float,
    weedy_off: Array | None = None,
    weedy_from: Array | None = None,
) -> Array:
    """What the weeds of a field take from the crops that follow a plan, less nothing where there are none.

    Parameters
    ----------
    shoots : ndarray (Y, W, K)
        Per m2 of the infested part in each following year; W weeds, K courses.
    loss_index, loss_most : ndarray (Y, W)
        Hyperbola of the crop of each year, as shares.
    infested_share : ndarray (W,)
        Share of the field that is infested.
    crop_worth : ndarray (Y,)
        What the crop of each year is worth to the grower without weeds, whole field. [currency]
    interest_rate : float
        [share a year]
    weedy_off, weedy_from : ndarray (Y,), optional
        What the whole crop of each year would bring less if it were weedy, and the share of yield lost from
        which it is. [currency; share]

    Returns
    -------
    ndarray (K,)
        Cost of each course at the end of the plan. [currency]
    """
    cost = np.zeros(shoots.shape[2])
    for year, worth in enumerate(crop_worth):
        lost = yield_lost(shoots[year].T, loss_index[year], loss_most[year], infested_share)
        cost += present_value(float(worth), interest_rate, year + 1) * lost
        if weedy_off is not None and weedy_from is not None:
            off = min(float(weedy_off[year]), float(worth))  # grain worth less than that is worth nothing
            weedy = np.where(lost >= weedy_from[year], 1.0 - lost, 0.0)
            cost += present_value(off, interest_rate, year + 1) * weedy
    return cost


def nitrogen_saved(last: Practice, first: Practice, tables: Tables) -> float:
    """Nitrogen that need not be bought for the first crop after a plan, since the last one left it. [kg/ha]

    Parameters
    ----------
    last, first : Practice
        What the last plan year held, and what follows it. What the cover crop of `first` itself gives is no
        merit of the plan.
    tables : Tables
    """
    need = tables.number_or("crop", first.crop, "nitrogen_need_kg_ha", 0.0)
    own = tables.number_or("crop", first.cover, "nitrogen_credit_kg_ha", 0.0) if first.cover else 0.0
    return max(need - own, 0.0) - max(need - nitrogen_left(last, first, tables), 0.0)


def stand_years_left(last: Practice, tables: Tables) -> float:
    """Hay years that the stand left by a practice has before it; 0 where no hay stands. [years]"""
    if not last.leaves_stand:
        return 0.0
    crop, _ = stand_of(last.leaves_stand)
    if tables.crops[crop].kind != "hay":
        return 0.0
    return max(tables.number("crop", crop, "stand_life_years") - hay_years(last.leaves_stand), 0.0)


def stand_worth(last: Practice, years_left: float, tables: Tables) -> float:
    """Cost of a new stand that the one left by a practice saves, in a straight line over its life.

    Parameters
    ----------
    last : Practice
        What the last plan year held; it leaves hay standing.
    years_left : float
        Hay years that are still to come, as long as the land is sure. [years]

    Returns
    -------
    float
        Of what it is sown with and what setting it up costs beside passes. [currency/ha]
    """
    crop, _ = stand_of(last.leaves_stand)
    sown = tables.number("crop", crop, "sowing_rate_kg_ha") * tables.number("crop", crop, "sown_price_per_kg")
    setting_up = tables.number_or("crop", crop, "establishment_per_ha", 0.0)
    return (sown + setting_up) * years_left / tables.number("crop", crop, "stand_life_years")


# ---------------------------------------------------------------- whole plans


class Following:
    """The years after some plans of one farm, and what each plan leaves to them.

    Parameters
    ----------
    ground : Groundwork
    data : SelectionData
        Of the same farm.
    plans : iterable
        Paths of each plan, field by field.
    belief : Belief, optional
        What counts of years done say of the courses of the weeds.

    Attributes
    ----------
    bands : Bands
        Follows these plans, also through the years after them.
    years : int
        Years after the plan that weeds are followed for.
    """

    def __init__(
        self, ground: Groundwork, data: SelectionData, plans: Iterable[Paths], belief: Belief | None = None
    ) -> None:
        self._ground, self._data = ground, data
        farm, tables = ground.farm, ground.tables
        self.years = round(money(farm, tables, "carry_over_years"))
        self._interest = money(farm, tables, "interest_rate")
        self._nitrogen_price = money(farm, tables, "nitrogen_per_kg")
        practices = ground.practice_list
        self._timetable = Timetable(ground.climate, tables, practices.calendar, practices.machines)
        self._pair_index = ground.pair_index.copy()
        self._new: list[Programme] = []
        longer = [self.longer(paths) for paths in plans]
        self._yield_t_ha, self._haul_per_t = self._yields()
        self.bands = Bands(
            replace(
                ground,
                programmes=(*ground.programmes, *self._new),
                pair_index=self._pair_index,
            ),
            replace(data, years=data.years + self.years, pair_index=self._pair_index),
            longer,
            belief,
        )

    def carry_over(self, plans: dict[str, Paths]) -> CarryOver:
        """What plans leave, by their keys."""
        return CarryOver(
            years=self.years,
            interest_rate=self._interest,
            nitrogen_per_kg=self._nitrogen_price,
            plans={key: self.left(paths) for key, paths in plans.items()},
        )

    def left(self, paths: Paths) -> LeftOver:
        """What one of the plans leaves."""
        end = self._data.years
        weeds_cost = np.zeros(1)
        nitrogen_kg = stand_ha = worth = 0.0
        for field, path in enumerate(self.longer(paths)):
            if path[end] == NOT_FARMED:
                continue
            weeds_cost = weeds_cost + self._weeds(field, path)
            area_ha = self._data.fields[field].area_ha
            last, first = (self._ground.practice_list.all[p].practice for p in path[end - 1 : end + 1])
            tables = self._ground.tables
            years_left = min(stand_years_left(last, tables), self._sure_years(field))
            if years_left > 0:  # it goes on: its nitrogen comes when it is broken, and counts once
                stand_ha += area_ha
                worth += area_ha * stand_worth(last, years_left, tables)
            else:
                nitrogen_kg += area_ha * nitrogen_saved(last, first, tables)
        return LeftOver(
            weeds_cost=three(weeds_cost),
            nitrogen_kg=nitrogen_kg,
            nitrogen_worth=nitrogen_kg * self._nitrogen_price,
            stand_ha=stand_ha,
            stand_worth=worth,
        )

    def longer(self, paths: Paths) -> tuple[tuple[int, ...], ...]:
        """A plan with the years after it; not farmed once a lease has ended."""
        return tuple((*path, *self._after(field, path[-1])) for field, path in enumerate(paths))

    def _sure_years(self, field: int) -> float:
        """Years after the plan in which a field is surely farmed."""
        end = self._ground.farm.fields[field].lease_end_year
        return np.inf if end is None else max(end - (self._data.first_year + self._data.years - 1), 0)

    def _after(self, field: int, last: int) -> tuple[int, ...]:
        """What follows on one field, year by year."""
        farmed = 0 if last == NOT_FARMED else int(min(self._sure_years(field), self.years))
        found: list[int] = []
        turn, now = 0, self._as_now(field)
        while len(found) < farmed:
            last, turn = next(
                (choice, place + 1)
                for place, choice in self._choices(now, turn)
                if self._follows(last, choice)
            )
            found.append(last)
        return (*found, *(NOT_FARMED,) * (self.years - farmed))

    def _as_now(self, field: int) -> list[int]:
        """Crops of the present rotation in order, without those that live on an older stand."""
        index, every = self._ground.practice_list.index, self._ground.practice_list.all
        grown = [index[key] for key in self._ground.farm.fields[field].as_now]
        return [p for p in grown if not every[p].practice.needs_stand] or grown

    def _choices(self, now: Sequence[int], turn: int) -> Iterator[tuple[int, int]]:
        """What may come next, with its place in the rotation: as now, another way to grow it, the next."""
        every = self._ground.practice_list.all
        for place in range(turn, turn + len(now)):
            wanted = now[place % len(now)]
            yield place, wanted
            same = [p for p, each in enumerate(every) if each.crop == every[wanted].crop]
            for other in sorted(same, key=lambda p: not every[p].practice.usual):
                yield place, other
        for other in range(len(every)):  # no crop of now can be sown in time after this: take what can
            yield turn, other

    def _follows(self, before: int, this: int) -> bool:
        """Whether one may follow the other by the calendar; its season is then at hand."""
        if self._pair_index[before, this] < 0:
            earlier, later = (self._ground.practice_list.all[p] for p in (before, this))
            if not self._timetable.fits(earlier, later)[0]:
                return False
            self._pair_index[before, this] = len(self._ground.programmes) + len(self._new)
            self._new.append(self._timetable.programme(earlier, later))
        return True

    def _yields(self) -> tuple[Array, Array]:
        """Yield without weeds and cost of carriage of all pairs, those of the years after the plan too."""
        farm, tables, budgets = self._ground.farm, self._ground.tables, self._ground.budgets
        if not self._new:
            return budgets.yield_t_ha, budgets.haul_per_t
        hours = pair_hours(self._new, farm, tables)
        new = pair_budgets(self._new, self._ground.practice_list, farm, tables, hours)
        return (
            np.concatenate([budgets.yield_t_ha, new.yield_t_ha]),
            np.concatenate([budgets.haul_per_t, new.haul_per_t]),
        )

    def _weeds(self, field: int, path: Sequence[int]) -> Array:
        """Cost of the weeds left on one field in each course, (K,)."""
        data, end = self._data, self._data.years
        after = [p for p in path[end:] if p != NOT_FARMED]
        course = self.bands.course(field, path[: end + len(after)])
        pairs = list(zip(path[end - 1 :], after, strict=False))
        grain = [self._weedy(field, *pair) for pair in pairs]
        return cost_of_weeds(
            course.shoots[end:],
            loss_index=data.loss_index[after],
            loss_most=data.loss_most[after],
            infested_share=data.fields[field].infested_share,
            crop_worth=np.array([self._crop_worth(field, *pair) for pair in pairs]),
            interest_rate=self._interest,
            weedy_off=np.array([off for off, _ in grain]),
            weedy_from=np.array([start for _, start in grain]),
        )

    def _crop_worth(self, field: int, before: int, this: int) -> float:
        """What a crop free of weeds is worth to the grower at its usual price, whole field. [currency]"""
        data = self._data
        if data.product_of[this] < 0:
            return 0.0
        land, pair = data.fields[field], int(self._pair_index[before, this])
        price = self._price_per_t(self._ground.practice_list.all[this].practice)
        a_tonne = (1.0 - land.landlord_share) * price - float(self._haul_per_t[pair])
        return land.area_ha * float(land.ratio(this)) * float(self._yield_t_ha[pair]) * max(a_tonne, 0.0)

    def _weedy(self, field: int, before: int, this: int) -> tuple[float, float]:
        """What the whole crop would bring less if it were weedy, and the loss of yield from which it is."""
        land, pair = self._data.fields[field], int(self._pair_index[before, this])
        crop = self._ground.practice_list.all[this].crop
        off, from_loss = weedy_grain(crop, self._ground.farm, self._ground.tables)
        mine = land.area_ha * float(land.ratio(this)) * float(self._yield_t_ha[pair])
        mine *= 1.0 - land.landlord_share
        return mine * off, from_loss

    def _price_per_t(self, practice: Practice) -> float:
        """What a lost tonne costs the grower, before drying and haulage at home. [currency/t]

        Hay that nobody near buys is worth what the herd's bought hay costs. Hay sold standing has only the
        price that was agreed, less what carrying it to the buyer costs.
        """
        farm, limits, key = self._ground.farm, self._data.limits, sold_as(practice)
        if practice.cut_use == "standing":
            agreed = (each.price_per_t - each.haul_per_t for each in farm.outlets if each.crop == key)
            return max(agreed, default=0.0)
        if key not in farm.no_market:
            return self._ground.budgets.price_per_t[key]
        eaten = limits.feed_need_t > 0.0 and self._ground.tables.crops[key].product == "hay"
        return limits.feed_price_per_t if eaten else 0.0
